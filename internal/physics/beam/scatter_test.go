package beam_test

import (
	"math"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/quantity"
)

// direct integrates eq. (3.4) ray by ray: what each ray crosses between entering and leaving the field. It shares the
// kernel with the tested code, through Circle, and nothing else.
func direct(s *beam.Scatter, left, right, below, above float64) float64 {
	const rays = 2000
	kernel := func(r float64) float64 { return s.Circle(quantity.Millimetre(2*r)) - 1 }
	slab := func(back, ahead, along float64) (enter, leave float64) {
		enter, leave = -back/along, ahead/along
		return min(enter, leave), max(enter, leave)
	}
	sum := 0.0
	for i := range rays {
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / rays)
		inX, outX := slab(left, right, cos)
		inY, outY := slab(below, above, sin)
		in, out := max(inX, inY, 0), min(outX, outY)
		if out > in {
			sum += kernel(out) - kernel(in)
		}
	}
	return 1 + sum/rays
}

func TestGridAgainstDirectIntegral(t *testing.T) {
	for _, b := range []*beam.Beam{newBeam(t, 60, 3, 0), newBeam(t, 80, 3, 0.3), newBeam(t, 120, 3, 0.9)} {
		s := b.Scatter()
		rapid.Check(t, func(t *rapid.T) {
			width := rapid.Float64Range(5, 400).Draw(t, "width")
			height := rapid.Float64Range(5, 400).Draw(t, "height")
			left := rapid.Float64Range(-60, 460).Draw(t, "left")
			below := rapid.Float64Range(-60, 460).Draw(t, "below")
			got := s.At(quantity.Millimetre(left), quantity.Millimetre(width-left), quantity.Millimetre(below), quantity.Millimetre(height-below))
			// 0.1 %: bilinear grid; far below the 1.5 % of the kernel.
			assert.InEpsilon(t, direct(s, left, width-left, below, height-below), got, 0.001)
		})
	}
}

// TestSquares compares the integral over the circles with the Monte Carlo of squares, which it has not seen.
func TestSquares(t *testing.T) {
	for _, r := range published(t, "backscatter_squares.csv") {
		b, err := beam.Mono(beam.KiloElectronvolt(r.number("energy_kev")))
		require.NoError(t, err)
		// 0.15 %: interpolation between the diameters; the Monte Carlo itself is good to 0.05 %.
		assert.InEpsilon(t, 1+r.number("s"), b.Scatter().Square(r.centimetres("side_cm")), 0.0015, "%v", r.fields)
	}
}

// waterKerma averages the Monte Carlo's scatter in water over the primary water kerma of the beam: the quantity of the
// protocol, where ours is for kerma in air.
func waterKerma(t *testing.T, b *beam.Beam, column string) float64 {
	t.Helper()
	table := published(t, "backscatter_water.csv")
	var scattered, primary float64
	upper := 1
	for _, p := range b.Spectrum() {
		for float64(p.Energy) > table[upper].number("energy_kev") {
			upper++
		}
		low, high := table[upper-1], table[upper]
		share := (float64(p.Energy) - low.number("energy_kev")) / (high.number("energy_kev") - low.number("energy_kev"))
		s := low.number(column) + share*(high.number(column)-low.number(column))
		_, muen, err := beam.Coefficients(beam.Water, p.Energy)
		require.NoError(t, err)
		weight := p.PerArea * float64(p.Energy) * float64(muen)
		scattered += weight * s
		primary += weight
	}
	return 1 + scattered/primary
}

// TestBackscatterOfTheProtocol holds check points G-2-10-100, G-3-10-100, G-6-15-50 and the rest of their table: the
// Monte Carlo in water kerma lies up to 3 % above it (parallel against diverging beam; not tuned), and ours in air kerma
// up to 0.8 % above that (0.43 % at 60 to 120 kV by Phys Med Biol 2002;47:1205, abstract read; harder beams more).
func TestBackscatterOfTheProtocol(t *testing.T) {
	for _, r := range published(t, "tg61_backscatter.csv") {
		t.Run(r.text("id"), func(t *testing.T) {
			b := tuned(t, r.number("kv"), r.number("hvl_mm_al"))
			inWater := waterKerma(t, b, "d"+r.text("diameter_cm"))
			assert.InEpsilon(t, r.number("bw"), inWater, 0.03)
			inAir := b.Scatter().Circle(r.centimetres("diameter_cm"))
			t.Logf("published %v, water kerma %.4f, air kerma %.4f", r.number("bw"), inWater, inAir)
			assert.Greater(t, inAir, inWater)
			assert.InEpsilon(t, inWater, inAir, 0.008)
		})
	}
}

// TestBackscatterOfAnotherTable compares with an independent calculation: ours lies above it by 0.8 to 2.0 %.
func TestBackscatterOfAnotherTable(t *testing.T) {
	for _, r := range published(t, "backscatter_beams.csv") {
		excess := newBeam(t, r.number("kv"), 3, r.number("cu")).Scatter().Square(100)/r.number("published") - 1
		assert.Greater(t, excess, 0.007, "%v", r.fields)
		assert.Less(t, excess, 0.021, "%v", r.fields)
	}
}

func TestBackscatterBySize(t *testing.T) {
	s := newBeam(t, 80, 3, 0.3).Scatter()
	// Source: own Monte Carlo of the project, squares, averaged over another tungsten spectrum; known: computed.
	for side, want := range map[quantity.Millimetre]float64{
		50: 1.302, 80: 1.401, 100: 1.450, 120: 1.488, 150: 1.530, 200: 1.575, 250: 1.601,
	} {
		assert.InEpsilon(t, want, s.Square(side), 0.0015, "%v mm", side)
	}
}

func TestBackscatterAwayFromTheCentre(t *testing.T) {
	s := newBeam(t, 80, 3, 0.3).Scatter()
	// Source: own Monte Carlo of the project, 10 cm x 10 cm, kerma in water; known: computed. Kerma in air is higher by
	// at most 0.43 % (Phys Med Biol 2002;47:1205, abstract read).
	tests := []struct {
		name                      string
		left, right, below, above quantity.Millimetre
		want                      float64
	}{
		{"centre", 50, 50, 50, 50, 1.444},
		{"1 cm inside an edge", 10, 90, 50, 50, 1.359},
		{"edge", 0, 100, 50, 50, 1.248},
		{"corner", 0, 100, 0, 100, 1.142},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			assert.InEpsilon(t, tt.want, s.At(tt.left, tt.right, tt.below, tt.above), 0.0045)
		})
	}
	// Outside, relative to the kerma at the centre; same source. 0.005 is half a millimetre of place.
	for distance, want := range map[quantity.Millimetre]float64{5: 0.12, 10: 0.095, 20: 0.062, 30: 0.043, 50: 0.022} {
		outside := s.At(-distance, 100+distance, 50, 50) - 1
		assert.InDelta(t, want, outside/s.Square(100), 0.005, "%v mm outside", distance)
	}
}

// TestPublishedSingleBackscatter holds check points I-80-0.1-10 and I-range.
func TestPublishedSingleBackscatter(t *testing.T) {
	// Source: IAEA Technical Reports Series 457 (2007), table VIII.1 after Petoussi-Henss 1998; known: memory.
	assert.InDelta(t, 1.40, newBeam(t, 80, 3, 0.1).Scatter().Square(100), 0.02)
	// Source: ICRP Publication 117: 1.2 to 1.6 in interventional work; known: read in a glossary.
	for _, kv := range []float64{60, 80, 100, 120} {
		for _, cu := range []float64{0, 0.1, 0.3} {
			for _, side := range []quantity.Millimetre{80, 100, 150, 200} {
				b := newBeam(t, kv, 3, cu).Scatter().Square(side)
				assert.Greater(t, b, 1.2)
				assert.Less(t, b, 1.6)
			}
		}
	}
}

// TestNarrowRectangle is check point Q-1: 60 keV, 5 cm x 20 cm. Source: numerical integral by the project; computed.
func TestNarrowRectangle(t *testing.T) {
	b, err := beam.Mono(60)
	require.NoError(t, err)
	s := b.Scatter()
	assert.InDelta(t, 1.422, s.Rectangle(50, 200), 0.002)
	assert.InDelta(t, 1.431, s.Square(80), 0.002)                                               // side 2ab/(a+b)
	assert.InDelta(t, 1.495, s.Circle(quantity.Millimetre(math.Sqrt(4*50*200/math.Pi))), 0.002) // equal area
}

// TestSurfaceDoseOfTheSlab holds check points J-30, J-60 and J-100: the whole chain from air kerma to surface dose. The
// slab is of four-component tissue and 15 cm thick, our kernel of water and 20 cm: within 3 %. Angular factors are not
// tested: obliquity is not modelled.
func TestSurfaceDoseOfTheSlab(t *testing.T) {
	for _, r := range published(t, "icru_slab.csv") {
		t.Run(r.text("id"), func(t *testing.T) {
			b, err := beam.Mono(beam.KiloElectronvolt(r.number("energy_kev")))
			require.NoError(t, err)
			assert.InEpsilon(t, r.number("ratio"), b.Scatter().Square(300)*b.TissueFactor(beam.FourComponent), 0.03)
		})
	}
}

// TestWholeProduct holds the beam's share of check points P-1 and P-2. Source: computed by the project with the
// Monte Carlo of squares; a regression, 1 %.
func TestWholeProduct(t *testing.T) {
	b, table := newBeam(t, 80, 3, 0.3), aluminium(1)
	skin := b.Behind(table)
	dose := 1000 * (60.0 / 63) * (60.0 / 63) * b.Transmission(table, 1) * 1.06 * skin.Scatter().Square(120) * skin.TissueFactor(beam.SoftTissue)
	assert.InEpsilon(t, 1359.9, dose, 0.01)
	b = newBeam(t, 70, 2.5, 0)
	assert.InEpsilon(t, 690.1, 500*b.Scatter().Square(100)*b.TissueFactor(beam.SoftTissue), 0.01)
}

func TestScatterLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := mustBeam(t, anyQuality(t)).Scatter()
		side := func(label string) quantity.Millimetre {
			return quantity.Millimetre(rapid.Float64Range(1, 300).Draw(t, label))
		}
		l, r, b, a := side("left"), side("right"), side("below"), side("above")
		at := s.At(l, r, b, a)
		assert.Greater(t, at, 1.0)
		assert.Less(t, at, 1.9)
		assert.GreaterOrEqual(t, s.At(l+1, r, b, a), at-1e-12, "a wider field scatters no less") // rounding
		assert.GreaterOrEqual(t, s.Circle(l+1), s.Circle(l)-1e-12)
		assert.InDelta(t, at, s.At(r, l, a, b), 1e-12, "turned by 180 degrees")
		assert.InDelta(t, at, s.At(b, a, l, r), 1e-12, "turned by 90 degrees")
		// A field and its neighbour make the joint field: inside the one, outside the other.
		wide := side("neighbour")
		joint := s.At(l, r+wide, b, a) - 1
		assert.InDelta(t, joint, at-1+s.At(-r, r+wide, b, a)-1, 1e-12)
		assert.LessOrEqual(t, at, s.Rectangle(l+r, b+a)+1e-6, "the centre gets most")
	})
}

func TestScatterEdges(t *testing.T) {
	s := newBeam(t, 80, 3, 0).Scatter()
	assert.InDelta(t, 1, s.Circle(0), 0)
	assert.InDelta(t, 1, s.Circle(-5), 0)
	assert.InDelta(t, 1, s.Square(0), 0)
	assert.InDelta(t, s.Circle(1e6), s.Square(1e6), 1e-3, "the unlimited field")
	assert.True(t, math.IsNaN(s.At(quantity.Millimetre(math.NaN()), 1, 1, 1)))
}

func TestSameInputSameBits(t *testing.T) {
	one, other := newBeam(t, 83, 3.1, 0.2), newBeam(t, 83, 3.1, 0.2)
	assert.Equal(t, one.Scatter().At(13, 70, 22, 90), other.Scatter().At(13, 70, 22, 90))
	assert.Equal(t, one.TissueFactor(beam.SoftTissue), other.TissueFactor(beam.SoftTissue))
	assert.Equal(t, one.Transmission(lightTable(), 1.3), other.Transmission(lightTable(), 1.3))
}

func TestOneBeamServesManyAtOnce(t *testing.T) {
	b := newBeam(t, 91, 3, 0.1)
	got := make([]float64, 8)
	var all sync.WaitGroup
	for i := range got {
		all.Go(func() { got[i] = b.Scatter().Square(120) })
	}
	all.Wait()
	for _, v := range got {
		assert.Equal(t, newBeam(t, 91, 3, 0.1).Scatter().Square(120), v)
	}
}
