package beam_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/quantity"
)

func TestTransmissionOfSheets(t *testing.T) {
	sheets := map[string]beam.Layer{
		"Al0.5": beam.Sheet(beam.AluminiumMat, 0.5), "Al0.8": beam.Sheet(beam.AluminiumMat, 0.8),
		"Al1.0": beam.Sheet(beam.AluminiumMat, 1), "Al1.2": beam.Sheet(beam.AluminiumMat, 1.2),
		"Al1.5": beam.Sheet(beam.AluminiumMat, 1.5), "Al2.0": beam.Sheet(beam.AluminiumMat, 2),
		"Al2.5": beam.Sheet(beam.AluminiumMat, 2.5), "Al3.0": beam.Sheet(beam.AluminiumMat, 3),
		"cfrp1mm": beam.Sheet(beam.CarbonFibre, 1), "cfrp2p5mm": beam.Sheet(beam.CarbonFibre, 2.5),
		"foam50mm": beam.Sheet(beam.Foam, 50), "water10mm": beam.Sheet(beam.Water, 10),
		"pmma10mm": beam.Sheet(beam.PMMA, 10),
	}
	for _, r := range published(t, "table_transmission.csv") {
		b := newBeam(t, r.number("kV"), r.number("total_Al_mm"), r.number("Cu_mm"))
		for column, sheet := range sheets {
			got := b.Transmission([]beam.Layer{sheet}, 1)
			// 1 %: another spectrum model, largest (0.8 %) for 3 mm of aluminium without copper.
			assert.InEpsilon(t, r.number(column), got, 0.01, "%s kV, %s Cu, %s", r.text("kV"), r.text("Cu_mm"), column)
		}
	}
}

func lightTable() []beam.Layer {
	return []beam.Layer{beam.Sheet(beam.CarbonFibre, 2.5), beam.Sheet(beam.Foam, 50)}
}

func heavyTable() []beam.Layer {
	return []beam.Layer{beam.Sheet(beam.CarbonFibre, 2.5), {Material: beam.Foam, Mass: 0.52}}
}

func TestTransmissionAlongSlantRays(t *testing.T) {
	for _, r := range published(t, "table_oblique.csv") {
		b := newBeam(t, r.number("kv"), r.number("al"), r.number("cu"))
		for column, degrees := range map[string]float64{"t0": 0, "t30": 30, "t45": 45, "t60": 60} {
			got := b.Transmission(lightTable(), 1/math.Cos(degrees*math.Pi/180))
			assert.InEpsilon(t, r.number(column), got, 0.002, // three digits, two spectra
				"%v at %v degrees", r.fields, degrees)
		}
	}
}

// inTheMiddle is the scatter of 1 g/cm2 of table in the middle of a square field.
func inTheMiddle(side, gap quantity.Millimetre) float64 {
	return beam.TableScattering().Over(side/2, side/2, side/2, side/2, gap)
}

// TestKermaBehindTheTable runs the chain of eq. (4.3) against the Monte Carlo of the whole arrangement, with a table in
// contact and behind gaps of air.
func TestKermaBehindTheTable(t *testing.T) {
	gaps := map[string]quantity.Millimetre{"light": 0, "heavy": 0, "light gap 10": 10, "light gap 100": 100}
	seen := map[string]int{}
	for _, r := range published(t, "table_forward_scatter.csv") {
		table := r.text("table")
		layers := lightTable()
		if table == "heavy" {
			layers = heavyTable()
		}
		seen[table]++
		gap, known := gaps[table]
		require.True(t, known, table)
		b := newBeam(t, r.number("kv"), r.number("al"), r.number("cu"))
		side := r.centimetres("side_cm")
		through, back := b.Transmission(layers, 1), b.Behind(layers).Scatter().Square(side)
		forward := 1 + float64(beam.Mass(layers))*inTheMiddle(side, gap)/back
		// The first two differ by the spectrum model. One kernel serves all beams and tables: F within 1.2 %, the product with
		// what the spectra differ by 1.5 %.
		assert.InEpsilon(t, r.number("t_narrow"), through, 0.002, "transmission, %v", r.fields)
		assert.InEpsilon(t, r.number("bsf"), back, 0.004, "backscatter, %v", r.fields)
		assert.InEpsilon(t, r.number("fs"), forward, 0.012, "forward scatter, %v", r.fields)
		assert.InEpsilon(t, r.number("total"), through*back*forward, 0.015, "all, %v", r.fields)
		if gap == 0 {
			assert.InEpsilon(t, r.number("fs"), beam.ForwardScatter(beam.Mass(layers), side), 0.02, "forward scatter by one figure, %v", r.fields)
		}
	}
	assert.Len(t, seen, len(gaps))
}

// TestKermaBehindTheTableAtAnAngle does the same for beams that meet table and patient aslant.
func TestKermaBehindTheTableAtAnAngle(t *testing.T) {
	for _, r := range published(t, "table_oblique.csv") {
		b := newBeam(t, r.number("kv"), r.number("al"), r.number("cu"))
		side, mass := r.centimetres("side_cm"), float64(beam.Mass(lightTable()))
		behind := b.Behind(lightTable())
		// At 60 degrees the table's scatter, taken as that at the normal, is up to 1.9 % of the whole too low.
		for degrees, tol := range map[float64]float64{0: 0.01, 30: 0.01, 45: 0.012, 60: 0.02} {
			cos := math.Cos(degrees * math.Pi / 180)
			scatter := 1 + (behind.Scatter().Square(side)-1)*behind.Oblique().Left(side, cos) + mass*inTheMiddle(side, 0)
			want := r.number(fmt.Sprintf("total_%g", degrees))
			assert.InEpsilon(t, want, b.Transmission(lightTable(), 1/cos)*scatter, tol, "%v at %v degrees", r.fields, degrees)
		}
	}
}

// TestScatterOfATableThroughAir compares eq. (4.5) with the Monte Carlo at each gap: circles of 1.5 to 20 cm in radius.
func TestScatterOfATableThroughAir(t *testing.T) {
	for _, r := range published(t, "table_scatter_gap.csv") {
		for _, radius := range []float64{15, 25, 35, 50, 75, 100, 150, 200} {
			side := quantity.Millimetre(radius * math.Sqrt(math.Pi)) // of the square of equal area
			want := r.number(fmt.Sprintf("r%g", radius))
			// The law keeps within 0.010, the square for the circle within 2 %.
			assert.InDelta(t, want, inTheMiddle(side, quantity.Millimetre(r.number("gap_mm"))), 0.010+0.02*want, "%g mm, %v", radius, r.fields)
		}
	}
}

// TestForwardScatterOfAClinicalTable is check point O-1: scatter from a patient table added 10 to 16 % to the entrance
// dose, depending on field size. Source: measurement on one C-arm, AAPM 2015 SU-E-I-55; known: read (abstract, without
// the field sizes: 12 to 23 cm is our reading of a usual range). Its figures are whole percents.
func TestForwardScatterOfAClinicalTable(t *testing.T) {
	mass, behind := float64(beam.Mass(heavyTable())), newBeam(t, 80, 3, 0.3).Behind(heavyTable()).Scatter()
	assert.Greater(t, mass*inTheMiddle(120, 0)/behind.Square(120), 0.095)
	assert.Less(t, mass*inTheMiddle(230, 0)/behind.Square(230), 0.165)
}

func TestForwardScatterEdges(t *testing.T) {
	assert.InDelta(t, 1, beam.ForwardScatter(0, 100), 0)
	assert.InDelta(t, 1, beam.ForwardScatter(0.5, 0), 0)
	assert.InDelta(t, 1, beam.ForwardScatter(-0.5, 100), 0)
	assert.InDelta(t, 1+0.5*0.098, beam.ForwardScatter(0.5, 100), 1e-12)
	assert.InDelta(t, beam.ForwardScatter(0.5, 250), beam.ForwardScatter(0.5, 400), 0)
}

func TestScatterOfATableAtTheEdges(t *testing.T) {
	assert.InDelta(t, 0, inTheMiddle(0, 0), 0)
	assert.InDelta(t, inTheMiddle(100, 0), inTheMiddle(100, -20), 0, "sunk into the mattress")
	scattering := beam.TableScattering()
	whole := scattering.Over(80, 80, 80, 80, 20)
	parts := scattering.Over(0, 80, 80, 80, 20) + scattering.Over(80, 0, 80, 80, 20)
	assert.InDelta(t, whole, parts, 1e-12, "two halves from the point between them")
	assert.Greater(t, scattering.Over(10, 90, 50, 50, 0), scattering.Over(-10, 110, 50, 50, 0), "inside and outside an edge")
	assert.Positive(t, scattering.Over(-50, 150, 50, 50, 0))
	assert.InEpsilon(t, scattering.Over(400, 500, 400, 400, 0), inTheMiddle(4000, 0), 0.06, "far edges") // the kernel ends at 40 cm
}

func anyLayers(t *rapid.T, label string) []beam.Layer {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) beam.Layer {
		return beam.Layer{
			Material: rapid.SampledFrom([]beam.Material{beam.CarbonFibre, beam.Foam, beam.AluminiumMat, beam.PMMA}).Draw(t, "material"),
			Mass:     quantity.GramPerSquareCentimetre(rapid.Float64Range(0.01, 1).Draw(t, "mass")),
		}
	}), 1, 3).Draw(t, label)
}

func TestTransmissionLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := mustBeam(t, anyQuality(t))
		table, pad := anyLayers(t, "table"), anyLayers(t, "pad")
		slant := rapid.Float64Range(1, 8).Draw(t, "slant")
		through := b.Transmission(table, slant)
		assert.Less(t, through, 1.0)
		assert.Positive(t, through)
		assert.Greater(t, through, b.Transmission(table, slant*1.01), "slant")
		assert.Greater(t, through, b.Transmission(append(pad, table...), slant), "mass")
		assert.InEpsilon(t, b.Transmission(table, 1)*b.Behind(table).Transmission(pad, 1),
			b.Transmission(append(pad, table...), 1), 1e-9, "one after the other") // rounding
		assert.Greater(t, b.Behind(table).HVL(), b.HVL(), "a table hardens")
		assert.InEpsilon(t, through, b.Paths(table).Transmission(slant), 1e-4, "tabulated")
		assert.InDelta(t, 1, b.Transmission(nil, slant), 1e-12)
	})
	b := newBeam(t, 80, 3, 0)
	assert.InDelta(t, b.Transmission(lightTable(), 1), b.Transmission(lightTable(), 0.5), 0)
	assert.InEpsilon(t, b.Transmission(lightTable(), 10), b.Paths(lightTable()).Transmission(1000), 1e-12)
}
