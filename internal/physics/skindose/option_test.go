package skindose_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/physics/skindose"
)

func TestSkullLowersTheHeadAlone(t *testing.T) {
	for site, want := range map[string]float64{"brain": 0.91, "heart": 1} {
		in := input(single(2, 2, frontal(2)), known())
		in.Site = site
		water := skindose.Evaluate(in)
		in.Skull = true
		bone := skindose.Evaluate(in)
		// A field of some 11 cm of the middle of fluoroscopy: 9 to 10 % less at 60 to 80 kV, 6 to 9 % at 100 to 120 kV.
		assert.InDelta(t, want, value(t, bone.Value)/value(t, water.Value), 0.025, site)
		said(t, bone, "6 mm of bone")
	}
}

func TestFinePeakLiesBetweenThePatches(t *testing.T) {
	in := input(single(2, 2, frontal(1.5), frontal(0.5)), known())
	e := skindose.Evaluate(in)
	fine, ok := e.FinePeak.Get()
	require.True(t, ok)
	assert.GreaterOrEqual(t, float64(fine), value(t, e.Value))
	assert.InEpsilon(t, value(t, e.Value), float64(fine), 0.01) // one field: smooth between patches of 1 cm2
	in.MaxPatch = 0.25
	whole := skindose.Evaluate(in)
	assert.InEpsilon(t, value(t, whole.Value), float64(fine), 0.002) // the same skin in other pieces
}

// A detector that stands turned turns the field: its corners reach skin that its sides do not.
func TestTurnedFieldHitsByItsCorners(t *testing.T) {
	flat := plane(200)
	shot := fromBelow(0, 0, 0, 600, 100, 100)
	straight, err := skindose.Irradiate([]exposure.Shot{shot}, flat, beam.SoftTissue)
	require.NoError(t, err)
	s := math.Sqrt2 / 2
	shot.Across, shot.Along = r3.Vec{X: s, Z: s}, r3.Vec{X: -s, Z: s}
	turned, err := skindose.Irradiate([]exposure.Shot{shot}, flat, beam.SoftTissue)
	require.NoError(t, err)
	assert.InEpsilon(t, float64(straight.PeakDose()), float64(turned.PeakDose()), 0.005) // the patch nearest to the middle
	area := func(m *skindose.Map) (reach float64) {
		for i, d := range m.Dose {
			if d > 0.3*m.PeakDose() { // more than scatter gives beside the field
				reach = max(reach, math.Abs(m.Body.Patches[i].Centre.X))
			}
		}
		return reach
	}
	assert.Less(t, area(straight), 51.0)
	assert.Greater(t, area(turned), 64.0, "half the diagonal is 71 mm")
	assert.InEpsilon(t, straight.AreaAbove(0.3*straight.PeakDose()).Cm2(), turned.AreaAbove(0.3*turned.PeakDose()).Cm2(), 0.10) // the sides cut 40 of 100 patches, each counted whole or not
}
