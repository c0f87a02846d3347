package skindose_test

import (
	"math"
	"runtime"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// typicalDoubt is the typical state of knowledge.
var typicalDoubt = skindose.Doubt{
	Display: 8, Distance: 8, Table: 6, Backscatter: 4, Tissue: 1, Arc: 0.2,
	Play: exposure.Play{BodySize: 0.08, Across: 20, Along: 40, Between: 5, FieldSide: 0.02},
}

// littleDoubt is that of the state in which little is known.
var littleDoubt = skindose.Doubt{
	Display: 20, Distance: 16, Table: 12, Backscatter: 6, Tissue: 4, Arc: 0.2,
	Play: exposure.Play{BodySize: 0.15, Across: 40, Along: 60, Between: 30, FieldSide: 0.10},
}

// heartShot is a shot aimed at the middle of the trunk.
func heartShot(event int, kerma, primary float64) exposure.Shot {
	s := aimed(event, kerma, primary, 0, 510, 140, 80, 0.1)
	s.Table, s.Anchored = under(100, 350), true
	return s
}

func grown(t require.TestingT) *body.Body {
	b, err := body.New(body.Size{Height: quantity.Some[quantity.Millimetre](1786), Weight: quantity.Some[quantity.Kilogram](73)}, 1)
	require.NoError(t, err)
	return b
}

func sampled(t require.TestingT, list []exposure.Shot, d skindose.Doubt, points int) (*skindose.Map, *skindose.Sampling) {
	return sampledOn(t, grown(t), list, d, points)
}

func sampledOn(t require.TestingT, b *body.Body, list []exposure.Shot, d skindose.Doubt, points int) (*skindose.Map, *skindose.Sampling) {
	m, err := skindose.Irradiate(list, b, beam.SoftTissue)
	require.NoError(t, err)
	s, err := skindose.Sample(list, m, beam.SoftTissue, d, points)
	require.NoError(t, err)
	return m, s
}

// Both ways of making a range rest on the same standard deviations; the place of the fields is left out of both.
func TestSampledRangeMeetsTheQuadratureForAFrontalBeam(t *testing.T) {
	tests := map[string]struct {
		doubt skindose.Doubt
		parts skindose.Budget
	}{
		"controlled": {
			skindose.Doubt{Display: 3, Distance: 3, Table: 3, Backscatter: 3, Tissue: 1, Play: exposure.Play{BodySize: 0.04, FieldSide: 0.02}},
			budget(3, 3, 3, 3, 1),
		},
		"typical": {
			skindose.Doubt{Display: 8, Distance: 8, Table: 6, Backscatter: 4, Tissue: 1, Play: exposure.Play{BodySize: 0.08, FieldSide: 0.02}},
			budget(8, 8, 6, 4, 1),
		},
		"little known": {
			skindose.Doubt{Display: 20, Distance: 16, Table: 12, Backscatter: 6, Tissue: 4, Play: exposure.Play{BodySize: 0.15, FieldSide: 0.02}},
			budget(20, 16, 12, 6, 4),
		},
	}
	for name, tt := range tests {
		for _, anchored := range []bool{true, false} {
			t.Run(name, func(t *testing.T) {
				shot := heartShot(0, 1, 0)
				shot.Anchored = anchored
				m, s := sampled(t, []exposure.Shot{shot}, tt.doubt, 0)
				low, high := tt.parts.Range(m.PeakDose())
				value := m.PeakDose()
				assert.InEpsilon(t, float64(high-value), float64(s.High-value), 0.10) // demanded of the two ways
				assert.InEpsilon(t, float64(value-low), float64(value-s.Low), 0.10)
				assert.Zero(t, s.Missed)
			})
		}
	}
}

func TestRangeOfALateralBeamComesFromTheWidth(t *testing.T) {
	_, s := sampled(t, []exposure.Shot{heartShot(0, 1, 90)}, littleDoubt, 0)
	shares := map[string]float64{}
	sum := s.Together
	for _, f := range s.Influences {
		shares[f.Name] = f.Share
		sum += f.Share
	}
	assert.InDelta(t, 1, sum, 1e-9) // shares of one variance
	assert.Greater(t, shares["width and depth of the patient"], shares["table attenuation and scatter"])
	assert.Greater(t, shares["air kerma display"], shares["backscatter"])
	assert.NotContains(t, shares, "kerma along arcs", "no arc")
}

func TestRangeConverges(t *testing.T) {
	list := longCase(100, 40)
	_, s := sampled(t, list, littleDoubt, 256)
	require.Len(t, s.Convergence, 3)
	assert.Equal(t, 64, s.Convergence[0].Points)
	half := func(c skindose.Step) float64 { return math.Log(float64(c.High / c.Low)) }
	end := half(s.Convergence[2])
	assert.InEpsilon(t, end, half(s.Convergence[0]), 0.15) // a quarter of the points; random ones would scatter by 9 %
	assert.InEpsilon(t, end, half(s.Convergence[1]), 0.08) // half of them
	assert.Equal(t, s.Low, s.Convergence[2].Low)
}

func TestRangeHasTheSameBitsForAnyNumberOfWorkersAndOrder(t *testing.T) {
	list := longCase(100, 12)
	_, one := sampled(t, list, typicalDoubt, 32)
	before := runtime.GOMAXPROCS(1)
	_, alone := sampled(t, list, typicalDoubt, 32)
	runtime.GOMAXPROCS(7)
	_, seven := sampled(t, list, typicalDoubt, 32)
	runtime.GOMAXPROCS(before)
	assert.Equal(t, one, alone)
	assert.Equal(t, one, seven)
	backwards := slices.Clone(list)
	slices.Reverse(backwards)
	_, other := sampled(t, backwards, typicalDoubt, 32)
	assert.Equal(t, one, other)
}

func TestNoDoubtIsNoRange(t *testing.T) {
	m, s := sampled(t, []exposure.Shot{heartShot(0, 1, 0)}, skindose.Doubt{}, 16)
	// The logarithm and the exponential of one round once each.
	assert.InEpsilon(t, float64(m.PeakDose()), float64(s.Low), 1e-12)
	assert.InEpsilon(t, float64(m.PeakDose()), float64(s.High), 1e-12)
	assert.Empty(t, s.Influences)
}

func TestRangeScalesWithKermaAndHoldsTheValue(t *testing.T) {
	b := coarse(t)
	rapid.Check(t, func(t *rapid.T) {
		list := shots(t, 4)
		by := rapid.Float64Range(0.1, 10).Draw(t, "by")
		m, s := sampledOn(t, b, list, littleDoubt, 16)
		if m.Peak < 0 {
			return
		}
		assert.LessOrEqual(t, s.Low, m.PeakDose())
		assert.GreaterOrEqual(t, s.High, m.PeakDose())
		for i := range list {
			list[i].Kerma *= quantity.Gray(by)
		}
		_, more := sampledOn(t, b, list, littleDoubt, 16)
		assert.InEpsilon(t, by*float64(s.High), float64(more.High), 1e-9) // roundings
		assert.InEpsilon(t, by*float64(s.Low), float64(more.Low), 1e-9)
	})
}
