package summary_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/quantity"
	"afterbeam/internal/summary"
	"afterbeam/internal/summary/statistic"
)

func asks(all ...summary.Ask) func(*summary.Case) {
	return func(c *summary.Case) { c.Asks = append(c.Asks, all...) }
}

func openAsk(kind, due string) summary.Ask {
	return summary.Ask{Kind: kind, Owner: "operator", State: summary.AskOpen, Due: due}
}

func answeredAsk(kind, due, on, outcome string) summary.Ask {
	return summary.Ask{Kind: kind, Owner: "operator", State: summary.AskAnswered, Due: due, AnsweredOn: on, Outcome: outcome}
}

// TestFollowUp is told on 10 November 2026.
func TestFollowUp(t *testing.T) {
	cases := []summary.Case{
		oneCase(1, "2026-10-01", reached, asks(
			answeredAsk("inform", "2026-10-01", "2026-10-01", "done"), answeredAsk("month-check", "2026-11-03", "2026-11-02", "seen"))),
		oneCase(2, "2026-10-02", reached, asks(
			answeredAsk("inform", "2026-10-02", "2026-10-09", "done"), answeredAsk("month-check", "2026-11-04", "2026-11-06", "seen"))),
		oneCase(3, "2026-10-03", reached, asks(openAsk("inform", "2026-10-03"), openAsk("month-check", "2026-11-05"))),
		oneCase(4, "2026-10-20", reached, asks(answeredAsk("inform", "2026-10-20", "2026-10-20", "done"), openAsk("month-check", "2026-11-22"))),
		oneCase(5, "2026-10-04", reached, asks(answeredAsk("inform", "2026-10-04", "2026-10-04", "done"), answeredAsk("month-check", "2026-11-06", "2026-11-05", "not-reached"))),
		oneCase(6, "2026-10-05", reached), // nobody was asked
		oneCase(7, "2026-10-05", asks(openAsk("clarify", "2026-10-12"))),
		oneCase(8, "2026-06-05", reached, asks(openAsk("late-check", "2026-08-01"))),
		oneCase(9, "2026-11-05", reached, asks(openAsk("inform", "2026-11-05"))),
		oneCase(10, "2026-10-06", reached, asks(
			summary.Ask{Kind: "inform", State: "settled", Due: "2026-10-06"}, summary.Ask{Kind: "month-check", State: "superseded", Due: "2026-11-08"})),
	}
	f := summed(t, summary.Input{Cases: cases, AsOf: "2026-11-10"}).FollowUp
	counts := func(p summary.Proportion) [3]int { return [3]int{p.X, p.N, p.Unknown} }
	assert.Equal(t, [3]int{4, 5, 1}, counts(f.Informed), "1, 2, 4, 5 of 1 to 5; 6 is not known; 10 was settled")
	assert.Equal(t, [3]int{1, 4, 1}, counts(f.Contacted), "1 of 1, 2, 3, 5: 2 came late, 5 was not reached; 4 and 10 are aside")
	assert.Equal(t, [3]int{2, 4, 1}, counts(f.Outcome), "1 and 2 were seen")
	assert.Equal(t, 2, f.ContactNotYetDue, "4, and 10 whose contact was dropped")
	kinds := map[string]summary.AskKind{}
	for _, k := range f.Kinds {
		assert.Equal(t, k.Total, k.InTime+k.Late+k.Open+k.Overdue+k.Dropped, k.Kind)
		kinds[k.Kind] = k
	}
	check := kinds["month-check"]
	assert.Equal(t, [5]int{2, 1, 1, 1, 1}, [5]int{check.InTime, check.Late, check.Open, check.Overdue, check.Dropped})
	assert.Equal(t, [2]int{3, 4}, [2]int{check.Answered.X, check.Answered.N})
	type row struct {
		id, kind string
		overdue  int
	}
	got := []row{}
	for _, a := range f.Open {
		got = append(got, row{a.Case, a.Kind, a.Overdue})
	}
	assert.Equal(t, []row{
		{"case-0008", "late-check", 101},
		{"case-0003", "inform", 38},
		{"case-0007", "clarify", 29},
		{"case-0003", "month-check", 5},
		{"case-0004", "month-check", -12},
	}, got, "of earlier cases too, not of later ones")
	assert.Equal(t, []summary.Age{{From: 0, To: 0, Asks: 1}, {From: 1, To: 7, Asks: 1}, {From: 8, To: 30, Asks: 1}, {From: 31, To: 90, Asks: 1}, {From: 91, To: 0, Asks: 1}}, f.Ageing)
}

func TestReactionsAndReview(t *testing.T) {
	seen := func(day string, grade int) func(*summary.Case) {
		return func(c *summary.Case) {
			c.Reactions = append(c.Reactions, summary.Reaction{Day: day, Grade: grade, Place: "back"})
		}
	}
	judged := func(state summary.ReviewState) func(*summary.Case) {
		return func(c *summary.Case) { c.Review = summary.Review{State: state, Day: "2026-11-01"} }
	}
	cases := []summary.Case{
		oneCase(1, "2026-10-01", reached, seen("2026-10-15", 0), judged(summary.ReviewAppropriate)),
		oneCase(2, "2026-10-02", reached, seen("2026-10-16", 1), seen("2026-11-01", 2), judged(summary.ReviewOpportunity)),
		oneCase(3, "2026-10-03", reached),
		oneCase(4, "2026-10-04", seen("2026-10-20", 1)),
		oneCase(5, "2026-10-05", judged(summary.ReviewPending)),
		oneCase(6, "2026-10-06"),
		oneCase(7, "2026-07-06", reached, seen("2026-10-10", 3), judged(summary.ReviewNotAppropriate)),
		oneCase(8, "2026-08-06", reached, judged(summary.ReviewPending)),
		oneCase(9, "2026-11-06", reached, judged(summary.ReviewPending)),
	}
	s := summed(t, summary.Input{Cases: cases, AsOf: "2026-11-30"})
	assert.Equal(t, [2]int{2, 3}, [2]int{s.Reactions.Looked.X, s.Reactions.Looked.N})
	assert.Equal(t, [2]int{1, 2}, [2]int{s.Reactions.Seen.X, s.Reactions.Seen.N})
	rows := []string{}
	for _, r := range s.Reactions.Rows {
		rows = append(rows, fmt.Sprintf("%s grade %d after %d days", r.Case.ID, r.Grade, r.Days))
	}
	assert.Equal(t, []string{
		"case-0007 grade 3 after 96 days", "case-0002 grade 1 after 14 days", "case-0004 grade 1 after 16 days", "case-0002 grade 2 after 30 days",
	}, rows)
	listed := map[string]string{}
	for _, r := range s.Review.Rows {
		listed[r.Case.ID] = fmt.Sprint(r.Why, " ", r.State)
	}
	assert.Equal(t, map[string]string{
		"case-0001": "[follow-up-level] appropriate",
		"case-0002": "[follow-up-level reaction] opportunity",
		"case-0003": "[follow-up-level] pending",
		"case-0004": "[reaction] pending",
		"case-0005": "[asked] pending",
		"case-0008": "[carried] pending",
	}, listed)
	assert.Equal(t, []summary.Reason{{Text: "pending", Cases: 4}, {Text: "appropriate", Cases: 1}, {Text: "opportunity", Cases: 1}, {Text: "not-appropriate", Cases: 0}}, s.Review.States)
}

func TestCumulativePatients(t *testing.T) {
	window := func(scope string, value float64) func(*summary.Case) {
		return func(c *summary.Case) {
			c.Patient = map[bool]string{true: "one", false: "two"}[value < 0.06]
			c.Flags = append(c.Flags, summary.Flag{
				Scope: scope, Scheme: "ncrp168", Level: "kap", Meaning: summary.MeaningFollowUp, Quantity: "kap",
				State: summary.StateReached, Value: quantity.Some(value), LevelValue: quantity.Some(value - 0.02), // as scaled for the field
			})
		}
	}
	s := summed(t, summary.Input{Cases: []summary.Case{
		oneCase(1, "2026-10-01", window("60 days", 0.051)), oneCase(2, "2026-10-20", window("60 days", 0.055)), oneCase(3, "2026-10-21", window("60 days", 0.07)),
		oneCase(4, "2026-10-22", window("365 days", 0.052)), oneCase(5, "2026-09-22", window("365 days", 0.052)), oneCase(6, "2026-10-23", reached),
	}})
	require.Len(t, s.Cumulative, 2)
	year, days := s.Cumulative[0], s.Cumulative[1]
	assert.Equal(t, []any{"365 days", 1, "Gy.cm2"}, []any{year.Window, year.Patients, year.Unit})
	assert.Equal(t, []any{"60 days", 2, []string{"case-0001", "case-0002", "case-0003"}}, []any{days.Window, days.Patients, days.Cases})
	assert.InDelta(t, 700, days.Largest.Or(0), 1e-9, "0.07 Gy m2 in Gy cm2")
	assert.InDelta(t, 500, days.LevelValue.Or(0), 1e-9, "the level of that sum")
	assert.Equal(t, 1, s.Substantial.Rate.X, "what a sum reached is not what a case reached")
}

func TestMeters(t *testing.T) {
	factor := quantity.Some(1.1)
	meters := []summary.Meter{
		{Room: "Cath 2", Device: "device-2", Checked: true, KermaFactor: factor, CheckedOn: "2026-03-01", From: "2026-03-01", Until: "2027-02-28"},
		{Room: "Hybrid 1", Device: "device-1", Checked: true, KAPFactor: quantity.Some(0.7), CheckedOn: "2026-03-01", Until: "2026-10-31"},
		{Room: "Neuro 4", Device: "device-4", Checked: true, KermaFactor: factor, CheckedOn: "2025-11-01"},
		{Room: "Neuro 4", Device: "device-5", Checked: true, CheckedOn: "2026-06-01"},
		{Room: "Rhythm 3", Device: "device-3"},
	}
	cases := []summary.Case{oneCase(1, "2026-10-01"), oneCase(2, "2026-10-02", func(c *summary.Case) { c.Room, c.Device = "Ward", "device-9" })}
	got := map[string]summary.MeterLine{}
	for _, m := range summed(t, summary.Input{Cases: cases, Meters: meters}).Meters {
		got[m.Device] = m
	}
	want := map[string]string{"device-1": "expired", "device-2": "in-date", "device-3": "unchecked", "device-4": "old", "device-5": "checked", "device-9": "unchecked"}
	for device, status := range want {
		assert.Equal(t, status, got[device].Status, device)
	}
	assert.Equal(t, 246, got["device-2"].AgeDays.Or(0), "from 1 March to 2 November")
	assert.Equal(t, [2]int{1, 1}, [2]int{got["device-2"].Cases, got["device-9"].Cases})
	assert.False(t, got["device-2"].Outside)
	assert.True(t, got["device-1"].Outside, "0.7 measured over displayed: the display shows 43 % too much")
	narrow := summed(t, summary.Input{Cases: cases, Meters: meters, Filter: summary.Filter{Rooms: []string{"Hybrid 1"}}})
	assert.Len(t, narrow.Meters, 1)
	assert.Equal(t, 0, narrow.Counts.Cases, "what is outside of the reader's rooms is in nothing")
}

func TestChildrenAndPregnantPatientsApart(t *testing.T) {
	child := func(age float64, weight quantity.Opt[quantity.Kilogram]) func(*summary.Case) {
		return func(c *summary.Case) {
			c.Age, c.Weight = quantity.Some(age), weight
			kap(1)(c)
		}
	}
	cases := append(some(30, "2026-10-05"),
		oneCase(101, "2026-10-05", child(4, quantity.Some[quantity.Kilogram](14.9))), oneCase(102, "2026-10-05", child(5, quantity.Some[quantity.Kilogram](15))),
		oneCase(103, "2026-10-05", child(17.9, quantity.Some[quantity.Kilogram](85))), oneCase(104, "2026-10-05", child(0.1, quantity.None[quantity.Kilogram]())),
		oneCase(105, "2026-10-05", child(18, quantity.Some[quantity.Kilogram](60))),
		oneCase(106, "2026-10-05", func(c *summary.Case) { c.Pregnant = true }),
		oneCase(107, "2026-10-05", func(c *summary.Case) { c.Age = quantity.None[float64]() }),
	)
	for i := range 5 {
		cases = append(cases, oneCase(110+i, "2026-10-06", child(6, quantity.Some[quantity.Kilogram](20))))
	}
	s := summed(t, summary.Input{Cases: cases})
	assert.Equal(t, summary.Counts{Cases: 42, Patients: 42, Adults: 32, Children: 9, Pregnant: 1, AgeUnknown: 1, Withheld: []string{}}, s.Counts)
	assert.Equal(t, 32, ofClass(t, s).All.Cases, "with those of 18 and of unknown age, without children and pregnant patients")
	assert.Len(t, s.Apart.Children, 9)
	assert.Len(t, s.Apart.Pregnant, 1)
	bands := []string{}
	for _, b := range s.Apart.ByWeight {
		from, hasFrom := b.From.Get()
		to, hasTo := b.To.Get()
		bands = append(bands, fmt.Sprintf("%v %v to %v %v: %d", from, hasFrom, to, hasTo, b.Group.Cases))
	}
	assert.Equal(t, []string{"5 true to 15 true: 1", "15 true to 30 true: 6", "80 true to 0 false: 1", "0 false to 0 false: 1"}, bands)
	perWeight := statisticNamed(t, s.Apart.ByWeight[1].Group, "kap_gy_cm2_per_kg")
	require.NotNil(t, perWeight.Median)
	assert.InDelta(t, 0.05, perWeight.Median.Value, 1e-12, "1 Gy cm2 by 20 kg")
}

func TestOperatorsAreNotRanked(t *testing.T) {
	by := func(n int, complexity string, names ...string) []summary.Case {
		return some(n, "2026-10-05", func(c *summary.Case) { c.Operators, c.Complexity = names, complexity })
	}
	cases := append(append(by(20, "standard", "B", "B"), by(19, "standard", "A")...), by(25, "", "C", "B")...)
	for i := range cases {
		cases[i].ID = fmt.Sprint("id-", i)
	}
	c := ofClass(t, summed(t, summary.Input{Cases: cases}))
	got := []string{}
	for _, p := range c.Parts {
		if p.By != "operator" {
			continue
		}
		for _, g := range p.Groups {
			line := fmt.Sprintf("%s %s %d", g.Key, g.Complexity, g.Cases)
			if len(g.Statistics) > 0 {
				line += " summed up"
				assert.Empty(t, g.Withheld)
			} else {
				line += " " + g.Withheld[0].Reason
				assert.Nil(t, g.Substantial)
			}
			got = append(got, line)
		}
	}
	assert.Equal(t, []string{
		"A standard 19 few-of-an-operator", "B  25 complexity-unknown", "B standard 20 summed up", "C  25 complexity-unknown",
	}, got, "in the order of their names")
}

func TestPartsOfAClass(t *testing.T) {
	cases := some(40, "2026-10-05")
	for i := range cases {
		if i < 10 {
			cases[i].Room, cases[i].Device, cases[i].DeviceName = "Hybrid 1", "device-1", "Angio H1"
		}
		cases[i].Weight = quantity.Some(quantity.Kilogram(50 + 2*i))
		if i == 39 {
			cases[i].Height = quantity.None[quantity.Millimetre]()
		}
	}
	parts := map[string][]string{}
	for _, p := range ofClass(t, summed(t, summary.Input{Cases: cases})).Parts {
		total := 0
		for _, g := range p.Groups {
			parts[p.By] = append(parts[p.By], fmt.Sprintf("%s (%s): %d", g.Key, g.Title, g.Cases))
			total += g.Cases
		}
		assert.Equal(t, 40, total, p.By)
	}
	assert.Equal(t, []string{"Cath 2 (Cath 2): 30", "Hybrid 1 (Hybrid 1): 10"}, parts["room"])
	assert.Equal(t, []string{"device-1 (Angio H1): 10", "device-2 (Angio C2): 30"}, parts["device"])
	assert.Equal(t, []string{
		"bmi-below-18.5 (bmi-below-18.5): 4", "bmi-18.5-25 (bmi-18.5-25): 10", "bmi-25-30 (bmi-25-30): 7", "bmi-30-35 (bmi-30-35): 8",
		"bmi-35-40 (bmi-35-40): 8", "bmi-from-40 (bmi-from-40): 2", "unknown (unknown): 1",
	}, parts["size"])
	assert.Empty(t, parts["complexity"], "one group alone says what the class says")
}

func TestActions(t *testing.T) {
	actions := []summary.Action{
		{ID: "a", Period: "2026-07", Text: "check the grid", Opened: "2026-08-04", Due: "2026-12-01"},
		{ID: "b", Period: "2026-09", Opened: "2026-10-06", Due: "2026-10-30"},
		{ID: "c", Period: "2026-10", Opened: "2026-11-02"},
		{ID: "d", Period: "2026-08", Opened: "2026-09-01", Closed: "2026-10-15", Outcome: "done"},
		{ID: "e", Period: "2026-08", Opened: "2026-09-01", Closed: "2026-09-15"},
		{ID: "f", Period: "2026-11", Opened: "2026-12-02"},
		{ID: "g", Period: "2026-08", Opened: "2026-09-01", Closed: "2026-11-20"},
	}
	got := []string{}
	for _, a := range summed(t, summary.Input{Actions: actions}).Actions {
		got = append(got, fmt.Sprintf("%s %s %d", a.ID, a.Standing, a.Carried))
	}
	assert.Equal(t, []string{"a carried 2", "d closed 1", "g carried 1", "b overdue 0", "c new 0"}, got)
}

func TestLeavingTheDepartment(t *testing.T) {
	cases := append(some(40, "2026-10-05"), some(3, "2026-10-06", func(c *summary.Case) { c.Class, c.Room = "neuro", "Neuro 4" })...)
	cases = append(cases, some(6, "2026-10-06", func(c *summary.Case) { c.Class, c.Room = "carotid", "Neuro 4" })...)
	cases = append(cases, some(12, "2026-10-07", func(c *summary.Case) { c.Class, c.Room = "pelvis", "Hybrid 1" })...)
	for i := range cases {
		cases[i].ID = fmt.Sprint("id-", i)
	}
	reached(&cases[0])
	cases[1].Pregnant = true
	in := summary.Input{Cases: cases, OperatorNames: true}
	before := summed(t, in)
	s := summary.Leaving(before)
	assert.Equal(t, summed(t, in), before, "the summary itself is not changed")
	assert.True(t, s.Leaving)
	classes := map[string]int{}
	for _, c := range s.Classes {
		classes[c.Class] = c.All.Cases
		assert.Empty(t, c.All.List)
		for _, p := range c.Parts {
			assert.NotEqual(t, "operator", p.By, "no names leave")
		}
		for _, one := range c.All.Statistics {
			assert.False(t, one.Min.Present() || one.Max.Present(), "a least value is one patient's")
		}
	}
	assert.Equal(t, map[string]int{"coronary_diagnostic": 39, "neuro": 0, "carotid": 0, "pelvis": 12}, classes,
		"three are withheld, and the next smallest group with them")
	for _, v := range s.Volume {
		assert.False(t, v.Cases > 0 && v.Cases < statistic.LeastLeaving, "%s %s", v.By, v.Key)
		assert.NotEqual(t, "operator", v.By)
	}
	assert.Empty(t, s.Substantial.Cases)
	assert.Empty(t, s.Review.Rows)
	assert.Empty(t, s.Apart.Pregnant)
	assert.Equal(t, []string{"children", "pregnant"}, s.Counts.Withheld)
	for _, c := range s.Charts {
		for _, p := range c.Points {
			assert.Empty(t, p.Case, c.Key)
		}
	}
	assert.Equal(t, 1, s.Substantial.Rate.X, "a rate of many stays")
}
