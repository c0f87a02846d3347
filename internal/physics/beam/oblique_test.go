package beam_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/quantity"
)

// B at an angle for whole spectra, which are not in the table of single energies.
func TestObliqueSpectra(t *testing.T) {
	for _, r := range published(t, "oblique_beams.csv") {
		b := newBeam(t, r.number("kv"), r.number("al"), r.number("cu"))
		side := r.centimetres("side_cm")
		for _, degrees := range []float64{0, 15, 30, 45, 60, 75} {
			want := r.number(fmt.Sprintf("a%g", degrees))
			got := 1 + (b.Scatter().Square(side)-1)*b.Oblique().Left(side, math.Cos(degrees*math.Pi/180))
			assert.InEpsilon(t, want, got, 0.005, "%v at %v degrees", r.fields, degrees) // two tungsten models and three decimals
		}
	}
}

// Angular factors of the surface dose in the ICRU slab, 30 x 30 x 15 cm: B f at an angle over that at 0.
// Source: ICRP Publication 74 (1996), R(0.07, angle); known: memory.
func TestObliqueAgainstICRP74(t *testing.T) {
	for _, r := range published(t, "icru_slab_oblique.csv") {
		b, err := beam.Mono(beam.KiloElectronvolt(r.number("kev")))
		require.NoError(t, err)
		whole := b.Scatter().Square(300)
		// The slab ends 15 cm from the axis, the table's does not: at 60 degrees its own Monte Carlo lies 1 to 2 % low.
		for degrees, tol := range map[float64]float64{15: 0.01, 30: 0.01, 45: 0.012, 60: 0.025} {
			got := (1 + (whole-1)*b.Oblique().Left(300, math.Cos(degrees*math.Pi/180))) / whole
			assert.InEpsilon(t, r.number(fmt.Sprintf("r%g", degrees)), got, tol, "%v at %v degrees", r.fields, degrees)
		}
	}
}

func TestObliqueOutsideItsTable(t *testing.T) {
	o := newBeam(t, 80, 3, 0.3).Oblique()
	at := func(degrees float64) float64 { return math.Cos(degrees * math.Pi / 180) }
	assert.InDelta(t, 1, o.Left(100, 1), 0)
	assert.InDelta(t, 1, o.Left(100, 1.0000001), 0, "a cosine of rounding")
	assert.InDelta(t, o.Left(100, at(75)), o.Left(100, 0), 1e-12)
	assert.InDelta(t, o.Left(100, at(75)), o.Left(100, -1), 1e-12)
	assert.InDelta(t, o.Left(50, at(60)), o.Left(1, at(60)), 0)
	assert.InDelta(t, o.Left(300, at(60)), o.Left(900, at(60)), 0)
	before := 1.0
	for degrees := 1.0; degrees < 75; degrees++ {
		left := o.Left(100, at(degrees))
		assert.Less(t, left, before, "%v degrees", degrees)
		before = left
	}
	for side := quantity.Millimetre(60); side < 300; side += 10 {
		assert.Less(t, o.Left(side+10, at(60)), o.Left(side, at(60))+1e-3, "%v mm", side) // rounding of the table's B
	}
	nan := o.Left(100, math.NaN())
	assert.InDelta(t, 1, nan, 0, "no number is the normal")
}
