package monthly_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/export/monthly"
	"afterbeam/internal/followup/completeness"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/devicefile"
	"afterbeam/internal/procedure/performed"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
	"afterbeam/internal/summary"
	"afterbeam/internal/summary/trend"
)

func october(t *testing.T) summary.Period {
	t.Helper()
	p, err := summary.ParsePeriod("2026-10")
	require.NoError(t, err)
	return p
}

// inputs are an empty month and an invented one with something of everything.
func inputs(t *testing.T) map[string]summary.Input {
	t.Helper()
	full := summary.Input{
		Period: october(t), AsOf: "2026-11-02",
		Performed: []summary.Performed{{Day: "2026-10-03", Room: "Cath 2", Why: "nothing near"}, {Day: "2026-10-04", Room: "Cath 2", Arrived: true}},
		Meters:    []summary.Meter{{Room: "Cath 2", Device: "cath", KermaFactor: quantity.Some(1.5), From: "2026-01-01", Checked: true}, {Room: "Neuro 4", Device: "neuro"}},
		Actions:   []summary.Action{{ID: "a", Period: "2026-09", Text: "look", Owner: "physics", Opened: "2026-09-30", Due: "2026-10-10"}},
		Baselines: []trend.Baseline{{Key: "another chart", Kind: trend.Share, N: 20, Frozen: true}},
	}
	for i := range 120 {
		day := time.Date(2026, 9, 1+i/2, 9, 0, 0, 0, time.UTC)
		c := summary.Case{
			ID: fmt.Sprint("case ", i), Day: day.Format(time.DateOnly), Start: day.Add(time.Duration(i) * time.Minute), Class: []string{"coronary-angiography", "evar", ""}[i%3],
			Room: "Cath 2", Device: "cath", Patient: fmt.Sprint(i / 2), Operators: []string{fmt.Sprint("operator-", i%4)}, Complexity: "simple",
			Age: quantity.Some(float64(5 + i%80)), Weight: quantity.Some[quantity.Kilogram](quantity.Kilogram(20 + i)), Pregnant: i%17 == 0,
			Kerma: quantity.Some(quantity.Gray(0.5 + float64(i%50)/8)), KAP: quantity.Some(quantity.GraySquareMetre(0.001 * float64(1+i%40))), State: summary.StateBelow,
			PSD: quantity.Some[quantity.Gray](1), PSDMethod: "map", EffectiveNone: "no region", Totals: i%13 == 0,
		}
		if i%5 == 0 {
			c.State = summary.StateReached
			c.Flags = []summary.Flag{
				{Scope: summary.ScopeCase, Scheme: "ncrp168", Level: "kar", Meaning: summary.MeaningFollowUp, Quantity: "kar", State: summary.StateReached, Value: c.KermaFactor, LevelValue: quantity.Some(5.0)},
				{Scope: "60 days", Scheme: "ncrp168", Level: "kar", Meaning: summary.MeaningFollowUp, Quantity: "kar", State: summary.StateReached, Value: quantity.Some(6.0), LevelValue: quantity.Some(5.0)},
			}
			c.Asks = []summary.Ask{{Kind: summary.AskMonthCheck, Owner: "operator", State: summary.AskOpen, From: c.Day, Due: c.Day}}
			c.Reactions = []summary.Reaction{{Day: c.Day, Grade: 1, Place: "back"}}
			c.Review = summary.Review{State: summary.ReviewPending, Day: c.Day}
		}
		full.Cases = append(full.Cases, c)
	}
	return map[string]summary.Input{"empty": {Period: october(t), AsOf: "2026-11-02"}, "full": full}
}

// site is a store in memory: what it was asked for, and fixed answers.
type site struct{ asked []store.SummaryFilter }

func (s *site) Today() string { return "2026-11-02" }

func (s *site) SummaryCases(_ context.Context, f store.SummaryFilter) ([]summary.Case, error) {
	s.asked = append(s.asked, f)
	return []summary.Case{{ID: "early", Day: "2026-02-01", Device: "arm"}, {ID: "late", Day: "2026-10-05", Device: "arm"}}, nil
}

func (s *site) HasPerformed(_ context.Context, from, to string) (bool, error) {
	return from == "2026-09-01" && to == "2026-10-31", nil
}

func (s *site) Completeness(context.Context, string, string, completeness.Rules) (completeness.List, func(string) string, error) {
	step := func(room string) completeness.Step {
		return completeness.Step{Step: performed.Step{Room: room, Class: "evar", Start: procedure.Moment{Time: time.Date(2026, 10, 5, 9, 0, 0, 0, time.UTC), Offset: procedure.OffsetOfSite}}}
	}
	return completeness.List{Rows: []completeness.Row{
		{Steps: []completeness.Step{step("Hybrid 1")}, Outcome: completeness.Reported},
		{Steps: []completeness.Step{step("Hybrid 1")}, Outcome: completeness.Missing, Why: []completeness.Candidate{{Reason: "another day"}}},
		{Steps: []completeness.Step{step("Hybrid 1")}, Outcome: completeness.Pending},
		{Steps: []completeness.Step{step("Cath 2")}, Outcome: completeness.Missing},
	}}, func(string) string { return "" }, nil
}

func (s *site) Actions(_ context.Context, from, to string, _ []string) ([]store.PeriodAction, error) {
	return []store.PeriodAction{{Action: summary.Action{ID: from + " " + to}}}, nil
}

func (s *site) Baselines(context.Context) ([]store.FrozenBaseline, error) {
	return []store.FrozenBaseline{{Baseline: trend.Baseline{Key: "a chart", Frozen: true}}}, nil
}

func (s *site) Devices(context.Context, []string) ([]store.Device, error) {
	return []store.Device{{ID: "1", Key: "arm", Equipment: store.Equipment{Room: "Hybrid 1", Model: "Arm"}}}, nil
}

func (s *site) SignedProfiles(context.Context, string) ([]store.Profile, error) {
	body, err := devicefile.Marshal(procedure.DeviceProfile{Mobile: true, KermaFactor: quantity.Some(procedure.Factor{Value: 1.08, Uncertainty: 3, From: "2026-03-01"})})
	return []store.Profile{{From: "2026-03-01", Body: body}}, err
}

func (s *site) DeviceChecks(context.Context, string) ([]store.DeviceCheck, error) {
	return []store.DeviceCheck{{Day: "2026-04-01"}, {Day: "2026-12-01"}}, nil
}

func TestWhatASummaryIsMadeOf(t *testing.T) {
	s := &site{}
	in, err := monthly.Input(context.Background(), s, monthly.Ask{
		Period: october(t), Filter: summary.Filter{Rooms: []string{"Hybrid 1"}}, Settings: summary.DefaultSettings(),
	})
	require.NoError(t, err)
	assert.Equal(t, []store.SummaryFilter{{From: "2024-10-01", To: "2026-10-31", Rooms: []string{"Hybrid 1"}, OpenAsks: true}}, s.asked, "two years of history")
	assert.Equal(t, []bool{false, true}, []bool{in.Cases[0].Mobile, in.Cases[1].Mobile}, "by the profile of the day")
	assert.Equal(t, []summary.Performed{
		{Day: "2026-10-05", Class: "evar", Room: "Hybrid 1", Arrived: true},
		{Day: "2026-10-05", Class: "evar", Room: "Hybrid 1", Why: "another day"},
		{Day: "2026-10-05", Class: "evar", Room: "Hybrid 1", Pending: true},
	}, in.Performed, "of the rooms that the reader sees")
	assert.Equal(t, []summary.Meter{{
		Room: "Hybrid 1", Device: "arm", DeviceName: "Arm", KermaFactor: quantity.Some(1.08), KermaUncertainty: quantity.Some[quantity.Percent](3),
		From: "2026-03-01", CheckedOn: "2026-04-01", Checked: true,
	}}, in.Meters, "as of the end of the period")
	assert.Equal(t, []summary.Action{{ID: "2026-10-01 2026-10-31"}}, in.Actions)
	assert.Len(t, in.Baselines, 1)
	made, err := monthly.Make(context.Background(), s, monthly.Ask{Period: october(t), Settings: summary.DefaultSettings()})
	require.NoError(t, err)
	assert.Equal(t, 1, made.Counts.Cases)
}
