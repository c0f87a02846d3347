package organ_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/organ"
	"afterbeam/internal/physics/transport"
	"afterbeam/internal/validation"
)

// parallel is a beam of photons of one energy that covers the whole body from a focus at 100 m, with 1 Gy of air kerma where
// the body is: over its depth of 40 cm that changes by 0.8 %.
func parallel(kev float64, toward r3.Vec) organ.Beam {
	const distance, width, height = 100_000, 500, 1900 // mm
	centre, along := r3.Vec{Z: 90}, r3.Vec{Z: 1}
	return organ.Beam{
		Arms: transport.ArmsAlongside, KAPGycm2: width * height / 100, ShownGycm2: width * height / 100, Shots: 1,
		Source: transport.Source{
			Focus: r3.Sub(centre, r3.Scale(distance, toward)), Toward: toward, Along: along, Across: r3.Cross(along, toward),
			HalfWidth: width / 2 / float64(distance), HalfHeight: height / 2 / float64(distance),
			Spectrum: []beam.Photons{{Energy: beam.KiloElectronvolt(kev), PerArea: 1}},
		},
	}
}

// TestValidateParallel compares with the means of other bodies: where they differ from the stylised one, the doses do.
func TestValidateParallel(t *testing.T) {
	v := validation.New("Whole body in parallel beams, ICRP 60, Sv per Gy: step 7, demand 15 % from 50 keV, 20 % below", 2)
	directions := []struct {
		name   string
		toward r3.Vec
	}{{"from the front", r3.Vec{Y: 1}}, {"from behind", r3.Vec{Y: -1}}, {"from the right", r3.Vec{X: 1}}, {"from the left", r3.Vec{X: -1}}}
	histories := validation.Count(200_000, 500_000) // gonads are small: their errors are not told well by fewer
	for i, row := range readTable(t, "testdata/parallel.csv") {
		if !validation.Full() && i != 5 { // 80 keV
			continue
		}
		f := floats(t, row)
		demand := 0.15
		if f[0] < 50 {
			demand = 0.20
		}
		for k, d := range directions {
			got := compute(t, organ.Case{
				Beams: []organ.Beam{parallel(f[0], d.toward)}, Body: adult(t), Key: d.name, Budget: organ.Budget{Histories: histories, Most: histories},
			})
			v.Add(validation.Row{
				What: fmt.Sprintf("%g keV %s", f[0], d.name), Ours: float64(got.Earlier.Value), Reference: f[1+k], Demand: demand,
				Error: float64(got.Earlier.Value) * float64(got.Earlier.Error) / 100,
			})
		}
	}
	v.Done(t)
}

// clinicalBeam gives a named beam with a part of 1 Gy cm2.
func clinicalBeam(t *testing.T, name string, rows map[string][]string, spectrum []beam.Photons, part float64) organ.Beam {
	t.Helper()
	row := rows[name]
	heart := r3.Vec{X: -3, Y: -3, Z: 50} // cm
	switch name {
	case "LAO45":
		row = aimed(name, heart, 45)
	case "RAO30":
		row = aimed(name, heart, -30)
	case "liver_PA":
		row = []string{name, "arms", "-6", "75", "36", "-6", "0", "36", "15", "15"}
	case "thigh_PA":
		row = []string{name, "arms", "-9", "75", "-25", "-9", "0", "-25", "20", "20"}
	}
	require.NotNil(t, row, name)
	b := referenceBeam(t, row, spectrum)
	b.KAPGycm2, b.ShownGycm2 = part, part
	return b
}

// aimed is a row of organ_beams.csv: 12 x 12 cm from behind, the focus 75 cm away and turned to the patient's right by the
// angle, for which the detector stands to the left and in front.
func aimed(name string, at r3.Vec, degrees float64) []string {
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	row := []string{name, "noarms"}
	for _, x := range []float64{at.X - 75*sin, at.Y + 75*cos, at.Z, at.X, at.Y, at.Z, 12, 12} {
		row = append(row, fmt.Sprint(x))
	}
	return row
}

// TestValidateClinical sets single beams against published means of procedures: plausibility, no more.
func TestValidateClinical(t *testing.T) {
	v := validation.New("Published effective dose per kerma-area product, mSv per Gy cm2: step 8, demand 25 to 40 %", 2)
	places := map[string][]string{}
	for _, row := range readTable(t, "../transport/testdata/organ_beams.csv") {
		places[row[0]] = row
	}
	histories := validation.Count(30_000, 1_000_000)
	for _, row := range readTable(t, "testdata/clinical.csv") {
		names := strings.Split(row[3], "+")
		f := floats(t, []string{row[1], row[4], row[5], row[6]})
		c := organ.Case{Body: adult(t), Key: row[0], Budget: organ.Budget{Histories: histories, Most: histories}}
		for _, name := range names {
			c.Beams = append(c.Beams, clinicalBeam(t, name, places, tungsten(t, f[1], 3, f[2]), 1/float64(len(names))))
		}
		d := compute(t, c)
		e := d.Effective
		if row[2] == "60" {
			e = d.Earlier
		}
		v.Add(validation.Row{
			What: fmt.Sprintf("%s (%s), %s at %g kV %g mm Cu", row[0], row[7], row[3], f[1], f[2]), Ours: 1000 * float64(e.Value), Reference: f[0],
			Demand: f[3] / 100, Error: 1000 * float64(e.Value) * float64(e.Error) / 100, Known: row[9],
		})
	}
	v.Done(t)
}
