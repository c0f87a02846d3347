package skindose_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// staged is a plan after a first stage of 4 Gy through the back at 0/0.
func staged(t *testing.T) (skindose.Plan, skindose.Estimate) {
	t.Helper()
	first := skindose.Evaluate(input(single(4, 4, frontal(4)), known()))
	require.NotNil(t, first.Map)
	return skindose.Plan{
		Body: first.Map.Body, Already: first.Map, Pattern: frontal(1), Profile: known(), Facts: procedure.Facts{}, Site: "visceral_aorta",
	}, first
}

func planned(primary, secondary quantity.Degree, kerma quantity.Gray) skindose.Planned {
	return skindose.Planned{Direction: skindose.Direction{Primary: primary, Secondary: secondary}, Kerma: kerma}
}

func TestAPlannedBeamGivesWhatTheSameBeamWouldHaveGiven(t *testing.T) {
	plan, _ := staged(t)
	plan.Already = nil
	for _, primary := range []quantity.Degree{0, 35, -90, 180} {
		e := frontal(2)
		e.Mechanics.Primary = some(primary)
		want := skindose.Evaluate(input(single(2, 2, e), known()))
		got, err := plan.Look(planned(primary, 0, 2))
		require.NoError(t, err)
		assert.InDelta(t, value(t, want.Value), float64(got.Adds), 1e-12, "%v degrees", primary)
		assert.Equal(t, want.Peak, got.Place)
		assert.Equal(t, got.Adds, got.After)
		assert.Equal(t, got.Adds, got.Peak)
		assert.Zero(t, got.Before)
		assert.NotEmpty(t, got.Assumptions)
	}
}

func TestDirectionsThatMeetIrradiatedSkinAndOnesThatDoNot(t *testing.T) {
	plan, first := staged(t)
	same, err := plan.Look(planned(0, 0, 1))
	require.NoError(t, err)
	assert.InDelta(t, value(t, first.Value)*5/4, float64(same.After), 1e-9, "one more quarter on the same skin")
	assert.Equal(t, same.After, same.Peak)
	assert.InDelta(t, value(t, first.Value), float64(same.Before), 1e-12)

	away, err := plan.Look(planned(90, 0, 1))
	require.NoError(t, err)
	assert.Zero(t, away.Before, "the right flank has had nothing")
	assert.Equal(t, away.Adds, away.After)
	assert.InDelta(t, value(t, first.Value), float64(away.Peak), 1e-12, "the highest dose stays where it was")
	assert.Contains(t, away.Place.String(), "right")

	a, err := plan.Look(planned(25, 10, 1))
	require.NoError(t, err)
	assert.Greater(t, a.After, a.Adds, "the fields overlap in part")
	assert.Less(t, float64(a.After), float64(a.Adds)+value(t, first.Value))
}

func TestBeamsThatFollowEachOther(t *testing.T) {
	plan, first := staged(t)
	all, err := plan.Follow([]skindose.Planned{planned(90, 0, 1), planned(90, 0, 2), planned(0, 0, 1)})
	require.NoError(t, err)
	require.Len(t, all, 3)
	assert.InDelta(t, 3*float64(all[0].Adds), float64(all[1].After), 1e-9)
	assert.InDelta(t, value(t, first.Value)*5/4, float64(all[2].After), 1e-9, "the flank's beams did not touch the back")
	assert.InDelta(t, value(t, first.Value), float64(first.Map.PeakDose()), 1e-12, "the earlier map is as it was")
}

func TestGridOfDirections(t *testing.T) {
	plan, first := staged(t)
	plan.Pattern.Direction, plan.Pattern.Posture = procedure.HeadFirst, procedure.Supine
	grid, err := plan.Grid([]quantity.Degree{-60, 0, 60}, []quantity.Degree{-20, 0, 20}, 1)
	require.NoError(t, err)
	require.Len(t, grid, 3)
	for i := range grid {
		for j := range grid[i] {
			require.NotNil(t, grid[i][j])
			assert.GreaterOrEqual(t, float64(grid[i][j].Peak), value(t, first.Value)-1e-12)
		}
	}
	assert.InEpsilon(t, float64(grid[0][1].After), float64(grid[2][1].After), 0.02, "the patient is symmetric, to the patches")
	assert.Less(t, grid[0][1].After, grid[1][1].After, "from the side it spares the skin of the first stage")
}

func TestPlansThatCannotBe(t *testing.T) {
	plan, _ := staged(t)
	other, err := body.New(body.Size{Weight: some[quantity.Kilogram](120)}, 1)
	require.NoError(t, err)
	elsewhere := plan
	elsewhere.Body = other
	_, err = elsewhere.Look(planned(0, 0, 1))
	require.ErrorIs(t, err, skindose.ErrBodies)
	nowhere := plan
	nowhere.Pattern.Field, nowhere.Pattern.KAP = procedure.Field{}, quantity.None[quantity.GraySquareMetre]()
	_, err = nowhere.Look(planned(0, 0, 1))
	require.ErrorIs(t, err, skindose.ErrPlan, "no field")
	_, err = plan.Follow([]skindose.Planned{planned(0, 0, -1)})
	require.ErrorIs(t, err, skindose.ErrPlan)
}
