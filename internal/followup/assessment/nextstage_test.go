package assessment_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// stages are the two stages of the demonstration's repair as they were reported.
func stages(t *testing.T) []assessment.Earlier {
	t.Helper()
	var reports []procedure.Report
	for _, c := range demo.Cases() {
		if c.File == "hybrid1-branched-repair-stage1.dcm" || c.File == "hybrid1-branched-repair-stage2.dcm" {
			reports = append(reports, c.Report)
		}
	}
	var all []assessment.Earlier
	for _, p := range procedure.Merge(reports) {
		all = append(all, assessment.Earlier{Procedure: p})
	}
	require.Len(t, all, 2)
	return all
}

func TestStagesLieOnOneBody(t *testing.T) {
	m := assessment.Default()
	all := stages(t)
	// The second stage finds a heavier patient: alone, the maps would lie on two bodies.
	all[1].Facts.Weight = quantity.Some[quantity.Kilogram](110)
	all[1].Facts.Height = quantity.Some[quantity.Millimetre](1750)
	n, err := m.NextStage(all)
	require.NoError(t, err)
	assert.Equal(t, 2, n.Mapped)
	assert.Equal(t, len(n.Body.Patches), len(n.Already.Dose))
	for i, d := range n.Already.Dose {
		require.InDelta(t, float64(n.Assessments[0].SkinDose.Map.Dose[i]+n.Assessments[1].SkinDose.Map.Dose[i]), float64(d), 1e-12)
	}
	reversed := []assessment.Earlier{all[1], all[0]}
	same, err := m.NextStage(reversed)
	require.NoError(t, err)
	assert.Equal(t, n.Already.Dose, same.Already.Dose, "whatever the order")
	assert.Equal(t, n.Pattern, same.Pattern)

	o, err := n.Look(skindose.Planned{Kerma: 1})
	require.NoError(t, err)
	assert.GreaterOrEqual(t, o.Peak, n.Already.PeakDose())
}

func TestWhatThePlanLacksIsSaid(t *testing.T) {
	m := assessment.Default()
	all := stages(t)
	without := all[0]
	without.Procedure.Events = nil
	n, err := m.NextStage([]assessment.Earlier{without, all[1]})
	require.NoError(t, err)
	assert.Equal(t, 1, n.Mapped)
	assert.Equal(t, 1, n.Unmapped)
	assert.Positive(t, float64(n.Elsewhere))
	assert.Contains(t, n.Notes[len(n.Notes)-1], "may lie on any skin besides")
	_, err = m.NextStage([]assessment.Earlier{without})
	require.ErrorIs(t, err, assessment.ErrNoMap)
	_, err = m.NextStage(nil)
	require.ErrorIs(t, err, assessment.ErrNoMap)
	test := all[1]
	test.Procedure.Purpose = procedure.PurposeQualityControl
	_, err = m.NextStage([]assessment.Earlier{test})
	require.ErrorIs(t, err, assessment.ErrNoMap, "a test object is no patient")
}
