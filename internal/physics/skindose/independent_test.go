package skindose_test

import (
	_ "embed"
	"encoding/csv"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

//go:embed testdata/independent.csv
var independentCSV string

// number reads a column of the table, absent when it is empty.
func number(t *testing.T, field string) quantity.Opt[float64] {
	t.Helper()
	if field == "" {
		return quantity.None[float64]()
	}
	v, err := strconv.ParseFloat(field, 64)
	require.NoError(t, err)
	return some(v)
}

// oneBeam is the procedure of a line of the table, and the place it images.
func oneBeam(t *testing.T, f []string) (procedure.Procedure, string) {
	t.Helper()
	must := func(column int) float64 { return number(t, f[column]).Or(math.NaN()) }
	mm := func(column int) quantity.Opt[quantity.Millimetre] { return some(quantity.Millimetre(must(column))) }
	filter := func(metal procedure.Metal, column int) procedure.Filter {
		return procedure.Filter{Type: procedure.FilterFlat, Metal: metal, Min: mm(column), Max: mm(column)}
	}
	e := frontal(quantity.Gray(must(15)))
	e.KAP = quantity.None[quantity.GraySquareMetre]()
	e.Technique.Voltages = []quantity.Kilovolt{quantity.Kilovolt(must(4))}
	e.Filters = []procedure.Filter{filter(procedure.Aluminium, 5), filter(procedure.Copper, 6)}
	e.Field = procedure.Field{Width: mm(13), Height: mm(14)}
	e.Mechanics = procedure.Mechanics{
		Primary: some(quantity.Degree(must(7))), Secondary: some(quantity.Degree(must(8))),
		SourceToIsocentre: mm(10), SourceToDetector: mm(11), SourceToReference: mm(12),
	}
	if end, ok := number(t, f[9]).Get(); ok {
		e.Type = procedure.Rotational
		e.Mechanics.PrimaryEnd = some(quantity.Degree(end))
	}
	p := single(quantity.Gray(must(15)), quantity.Gray(must(15)), e)
	p.Patient.Height, p.Patient.Weight = some(quantity.Millimetre(10*must(1))), some(quantity.Kilogram(must(2)))
	return p, f[3]
}

// The whole way from reference air kerma to skin dose against a second program that shares no code with this one.
func TestAgainstTheIndependentProgram(t *testing.T) {
	reader := csv.NewReader(strings.NewReader(independentCSV))
	reader.Comment = '#'
	lines, err := reader.ReadAll()
	require.NoError(t, err)
	estimates := map[string]skindose.Estimate{}
	for _, f := range lines[1:] {
		e, known := estimates[f[0]]
		if !known {
			p, site := oneBeam(t, f)
			profile := procedure.DeviceProfile{SignedBy: "physicist", Angles: procedure.FramePatient, InherentAluminium: some[quantity.Millimetre](0)}
			e = skindose.Evaluate(skindose.Input{Procedure: p, Profile: profile, Group: skindose.GroupBody, Site: site, MaxPatch: 0.25})
			require.NotNil(t, e.Map, "%s: %s", f[0], e.Reason)
			estimates[f[0]] = e
		}
		want := number(t, f[19]).Or(0)
		if f[16] == "peak" {
			// 1 % for an arc, one step among those that see a patch; else 0.5 % for grids of 4 and 5 mm.
			tol := 0.005
			if f[9] != "" {
				tol = 0.012
			}
			assert.InEpsilon(t, want, float64(e.Map.PeakDose()), tol, "peak of %s", f[0])
			continue
		}
		at := r3.Scale(10, r3.Vec{X: number(t, f[16]).Or(0), Y: number(t, f[17]).Or(0), Z: number(t, f[18]).Or(0)})
		got := e.Map.Dose[nearest(e, at)]
		// The nearest patch lies up to 3.5 mm away, over which a dose changes by up to 1 % inside a field.
		assert.InEpsilon(t, want, float64(got), 0.015, "%s at %v", f[0], at)
	}
	assert.Len(t, estimates, 13)
}

// nearest gives the patch whose centre is nearest to a point.
func nearest(e skindose.Estimate, at r3.Vec) int {
	distances := make([]float64, len(e.Map.Body.Patches))
	for i, p := range e.Map.Body.Patches {
		distances[i] = r3.Norm(r3.Sub(p.Centre, at))
	}
	return slices.Index(distances, slices.Min(distances))
}
