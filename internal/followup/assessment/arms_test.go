package assessment_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// sideways turns every beam of the stages to the patient's right side.
func sideways(all []assessment.Earlier) {
	for i := range all {
		events := append([]procedure.Event(nil), all[i].Procedure.Events...)
		for k := range events {
			events[k].Mechanics.Primary = quantity.Some[quantity.Degree](90)
			events[k].Mechanics.Secondary = quantity.Some[quantity.Degree](0)
		}
		all[i].Procedure.Events = events
	}
}

func TestStagesWithTheArmsElsewhere(t *testing.T) {
	m := assessment.Default()
	m.MaxPatch = 10
	for name, tt := range map[string]struct {
		first, second procedure.Arms
		arms          float64 // of the stages whose dose lies on arms
		said          string
	}{
		"both raised":       {procedure.ArmsRaised, procedure.ArmsRaised, 0, ""},
		"nobody told":       {procedure.ArmsUnknown, procedure.ArmsUnknown, 0, ""},
		"both alongside":    {procedure.ArmsAlongside, procedure.ArmsAlongside, 2, ""},
		"raised, alongside": {procedure.ArmsRaised, procedure.ArmsAlongside, 1, "1 procedures had the arms raised: they add to the trunk alone"},
		"untold, alongside": {procedure.ArmsUnknown, procedure.ArmsAlongside, 2, "1 procedures do not tell where the arms were"},
		"alongside, untold": {procedure.ArmsAlongside, procedure.ArmsUnknown, 2, "the higher of both, an upper bound"},
	} {
		t.Run(name, func(t *testing.T) {
			all := stages(t)
			slices.SortFunc(all, func(a, b assessment.Earlier) int { return a.Procedure.Start.Time.Compare(b.Procedure.Start.Time) })
			sideways(all)
			all[0].Facts.Arms, all[1].Facts.Arms = tt.first, tt.second
			n, err := m.NextStage(all)
			require.NoError(t, err)
			require.Equal(t, 2, n.Mapped)
			assert.Equal(t, tt.said != "", len(n.Arms) > 0)
			assert.Contains(t, strings.Join(n.Notes, "\n"), tt.said)
			assert.Equal(t, tt.second == procedure.ArmsAlongside, strings.Contains(n.Body.Name, "arms"), "beams to come meet the newest body")
			onArms := 0
			for _, a := range n.Assessments {
				dosed := false
				for i, d := range a.SkinDose.Map.Dose {
					dosed = dosed || d > 0 && a.SkinDose.Map.Body.Patches[i].Part.OnArm()
				}
				if dosed {
					onArms++
				}
			}
			assert.InDelta(t, tt.arms, float64(onArms), 0)
			for i, d := range n.Already.Dose {
				want := quantity.Gray(0)
				for _, a := range n.Assessments {
					if i < len(a.SkinDose.Map.Dose) {
						want += a.SkinDose.Map.Dose[i]
					}
				}
				require.InDelta(t, float64(want), float64(d), 1e-12)
			}
			_, err = n.Look(skindose.Planned{Direction: skindose.Direction{Primary: 90}, Kerma: 1})
			require.NoError(t, err)
			kept := make([]assessment.Kept, len(all))
			for i := range all {
				kept[i] = assessment.Kept{Earlier: all[i], Key: string(rune('a' + i))}
			}
			assert.Contains(t, m.Lay(kept).Words, tt.said)
		})
	}
}
