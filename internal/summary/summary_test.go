package summary_test

import (
	"encoding/json"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/quantity"
	"afterbeam/internal/summary"
	"afterbeam/internal/summary/reference"
	"afterbeam/internal/summary/statistic"
)

// october is the period of most tests; the numbers of all cases are invented.
const october = "2026-10"

// oneCase makes a coronary angiography of an adult with round numbers; change makes another of it.
func oneCase(n int, day string, change ...func(*summary.Case)) summary.Case {
	at, err := time.Parse(time.DateOnly, day)
	if err != nil {
		panic(err)
	}
	c := summary.Case{
		ID: fmt.Sprintf("case-%04d", n), Start: at.Add(8*time.Hour + time.Duration(n)*time.Minute), Day: day,
		Class: "coronary_diagnostic", Complexity: "standard", Room: "Cath 2", Device: "device-2", DeviceName: "Angio C2",
		Operators: []string{"operator A"}, Patient: fmt.Sprintf("patient-%d", n),
		Age: quantity.Some(60.0), Weight: quantity.Some[quantity.Kilogram](80), Height: quantity.Some[quantity.Millimetre](1750),
		Kerma: quantity.Some[quantity.Gray](0.4), KAP: quantity.Some(25 * quantity.GraySquareCentimetre), FluoroTime: quantity.Some(5 * quantity.Minute),
		Images: quantity.Some(500.0), PSD: quantity.Some[quantity.Gray](0.3), PSDMethod: "map",
		Effective: quantity.Some(5 * quantity.MilliSievert), State: summary.StateBelow,
	}
	for _, f := range change {
		f(&c)
	}
	return c
}

func kap(v float64) func(*summary.Case) {
	return func(c *summary.Case) {
		c.KAP = quantity.Some(quantity.GraySquareMetre(v) * quantity.GraySquareCentimetre)
	}
}

func kerma(v quantity.Gray) func(*summary.Case) {
	return func(c *summary.Case) { c.Kerma = quantity.Some(v) }
}

func reached(c *summary.Case) {
	c.State = summary.StateReached
	c.Flags = append(c.Flags, summary.Flag{
		Scope: summary.ScopeCase, Scheme: "ncrp168", Level: "kar", Meaning: summary.MeaningFollowUp, Quantity: "kar", State: summary.StateReached,
		Value: quantity.Some(6.0), LevelValue: quantity.Some(5.0),
	})
}

// some makes n cases of a day with rising KAP from 10.1 Gy cm2 on in steps of 0.1.
func some(n int, day string, change ...func(*summary.Case)) []summary.Case {
	out := make([]summary.Case, n)
	for i := range out {
		out[i] = oneCase(i+1, day, append([]func(*summary.Case){kap(10 + float64(i+1)/10)}, change...)...)
	}
	return out
}

func summed(t testing.TB, in summary.Input) summary.Summary {
	t.Helper()
	if in.Period.Name == "" {
		in.Period.Name = october
	}
	if in.AsOf == "" {
		in.AsOf = "2026-11-02"
	}
	s, err := summary.Summarise(in, summary.DefaultSettings())
	require.NoError(t, err)
	_, err = json.Marshal(s)
	require.NoError(t, err, "a summary is printed as JSON, without numbers that are none")
	return s
}

// ofClass gives the only class of a summary.
func ofClass(t *testing.T, s summary.Summary) summary.Class {
	t.Helper()
	require.Len(t, s.Classes, 1)
	return s.Classes[0]
}

func statisticNamed(t *testing.T, g summary.Group, name string) summary.Statistic {
	t.Helper()
	for _, s := range g.Statistics {
		if s.Quantity == name {
			return s
		}
	}
	t.Fatalf("no statistic %q", name)
	return summary.Statistic{}
}

// TestSmallNumbers has what is shown just below and at each step of the small-number rules.
func TestSmallNumbers(t *testing.T) {
	type shown struct {
		list, median, interval, quartiles, positions, provisional, spread, p90, p95 bool
	}
	tests := map[int]shown{
		1:  {list: true},
		4:  {list: true},
		5:  {median: true},
		9:  {median: true},
		10: {median: true, interval: true, quartiles: true},
		19: {median: true, interval: true, quartiles: true},
		20: {median: true, interval: true, quartiles: true, positions: true, provisional: true},
		29: {median: true, interval: true, quartiles: true, positions: true, provisional: true},
		30: {median: true, interval: true, quartiles: true, positions: true, spread: true},
		35: {median: true, interval: true, quartiles: true, positions: true, spread: true},
		36: {median: true, interval: true, quartiles: true, positions: true, spread: true, p90: true},
		71: {median: true, interval: true, quartiles: true, positions: true, spread: true, p90: true},
		72: {median: true, interval: true, quartiles: true, positions: true, spread: true, p90: true, p95: true},
	}
	for n, want := range tests {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			c := ofClass(t, summed(t, summary.Input{Cases: some(n, "2026-10-05")}))
			s := statisticNamed(t, c.All, "kap_gy_cm2")
			got := shown{
				list: len(c.All.List) == n, median: s.Median != nil, interval: s.Median != nil && s.Median.Low.Present(), quartiles: s.P25 != nil && s.P75 != nil,
				positions: len(c.Positions) > 0, provisional: len(c.Positions) > 0 && c.Positions[0].Provisional,
				spread: s.P75 != nil && s.P75.Low.Present(), p90: s.P90 != nil && s.P10 != nil, p95: s.P95 != nil,
			}
			assert.Equal(t, want, got)
			assert.Equal(t, want.median, s.Min.Present() && s.Max.Present(), "the range comes with the median")
			assert.Equal(t, statistic.ShowAt(n), s.Show)
			withheld := map[string]int{}
			for _, w := range s.Withheld {
				withheld[w.What] = w.Need
				assert.Greater(t, w.Need, n, w.What)
			}
			assert.Equal(t, !want.p90, withheld["p90"] == 36, "what is withheld is said, with what it needs")
			assert.Equal(t, !want.median, withheld["median"] == 5)
			assert.Equal(t, !want.positions, len(c.Withheld) > 0)
		})
	}
}

// TestMedianAgainstLevels holds a median of 25.05 Gy cm2 against the levels of coronary angiography.
func TestMedianAgainstLevels(t *testing.T) {
	cases := some(30, "2026-10-05")
	for i := range cases {
		kap(10 + float64(i+1))(&cases[i])
	}
	c := ofClass(t, summed(t, summary.Input{Cases: cases}))
	verdicts := map[string]reference.Verdict{}
	for _, p := range c.Positions {
		if p.Level.Quantity == "kap_gy_cm2" {
			assert.InDelta(t, 25.5, p.Median, 1e-9, "half between the 15th and the 16th")
			assert.False(t, p.Provisional)
			verdicts[p.Level.ID] = p.Verdict
			assert.Equal(t, p.Level.ID == "au20-ca-kap", p.IntervalReaches, "ranks 10 to 21 are 20 and 31, beyond 30 alone: %s", p.Level.ID)
		}
	}
	assert.Equal(t, map[string]reference.Verdict{
		"eu18-ca-kap": reference.NotAbove, "sentinel-ca-kap": reference.NotAbove, "au20-ca-kap": reference.Between, "ch07-ca-kap": reference.NotAbove,
	}, verdicts)
}

// TestFixedAndMobileApart has levels of EVAR: 278 Gy cm2 with fixed and 87 with mobile equipment in Spain.
func TestFixedAndMobileApart(t *testing.T) {
	cases := some(50, "2026-10-05", func(c *summary.Case) { c.Class = "aortic_endovascular" })
	for i := range cases {
		cases[i].Mobile = i%2 == 0
		kap(map[bool]float64{true: 100, false: 200}[cases[i].Mobile])(&cases[i])
	}
	got := map[string]reference.Verdict{}
	for _, p := range ofClass(t, summed(t, summary.Input{Cases: cases})).Positions {
		if p.Level.Quantity == "kap_gy_cm2" {
			assert.Equal(t, 25, p.N)
			got[p.Level.ID+" "+p.Mount] = p.Verdict
		}
	}
	assert.Equal(t, map[string]reference.Verdict{
		"es20-evar-fixed-kap fixed": reference.NotAbove, "es20-evar-mobile-kap mobile": reference.Above,
		"uk23-evar-kap fixed": reference.Above, "uk23-evar-kap mobile": reference.NotAbove,
	}, got)
}

// TestDoubtIsNotLow has 40 cases of which four have no KAP that counts: none of them moves a percentile.
func TestDoubtIsNotLow(t *testing.T) {
	cases := some(36, "2026-10-05")
	want := statisticNamed(t, ofClass(t, summed(t, summary.Input{Cases: cases})).All, "kap_gy_cm2")
	cases = append(
		cases,
		oneCase(101, "2026-10-06", kap(0.001), func(c *summary.Case) { c.KAPDoubt = summary.DoubtPart }),
		oneCase(102, "2026-10-06", kap(0.001), func(c *summary.Case) { c.KAPDoubt = summary.DoubtSuspect }),
		oneCase(103, "2026-10-06", func(c *summary.Case) { c.KAP = quantity.None[quantity.GraySquareMetre]() }),
		oneCase(104, "2026-10-06", kap(math.NaN())),
	)
	s := summed(t, summary.Input{Cases: cases})
	got := statisticNamed(t, ofClass(t, s).All, "kap_gy_cm2")
	assert.Equal(t, [2]int{36, 40}, [2]int{got.N, got.Of})
	assert.Equal(t, []summary.LeftOut{{Reason: "absent", Cases: 1}, {Reason: "part", Cases: 1}, {Reason: "suspect", Cases: 2}}, got.LeftOut)
	assert.Equal(t, want.Median, got.Median)
	assert.Equal(t, want.P90, got.P90)
	assert.Equal(t, want.Min, got.Min)
	assert.InDelta(t, 0.9, got.Complete.Share.Or(0), 1e-12)
	effective := statisticNamed(t, ofClass(t, s).All, "e_msv")
	assert.Equal(t, 38, effective.N, "an effective dose of a KAP in doubt does not count either")
	assert.Equal(t, [2]int{36, 40}, [2]int{s.Completeness.Records.X, s.Completeness.Records.N})
}

func TestCrossings(t *testing.T) {
	part := func(c *summary.Case) { c.KermaDoubt = summary.DoubtPart }
	cases := []summary.Case{
		oneCase(1, "2026-10-01", kerma(2.999)), oneCase(2, "2026-10-01", kerma(3)), oneCase(3, "2026-10-01", kerma(5.2)),
		oneCase(4, "2026-10-01", kerma(4.1), part), oneCase(5, "2026-10-01", kerma(0.2), part),
		oneCase(6, "2026-10-01", kerma(9), func(c *summary.Case) { c.KermaDoubt = summary.DoubtSuspect }),
		oneCase(7, "2026-10-01", kerma(2.9), func(c *summary.Case) { c.KermaFactor = quantity.Some(1.1) }),
		oneCase(8, "2026-10-01", kerma(3.1), func(c *summary.Case) { c.KermaFactor = quantity.Some(0.8) }),
		oneCase(9, "2026-10-01", func(c *summary.Case) { c.Kerma = quantity.None[quantity.Gray]() }),
	}
	got := map[float64][3]int{}
	for _, c := range summed(t, summary.Input{Cases: cases}).Crossings {
		got[c.Level] = [3]int{c.Cases.X, c.Cases.N, c.Cases.Unknown}
		assert.NotEmpty(t, c.Source)
	}
	assert.Equal(t, map[float64][3]int{
		3: {5, 6, 3}, // 3, 5.2, the part of 4.1, 2.9 x 1.1, 3.1 as displayed; not 2.999
		4: {2, 6, 3}, // 5.2 and the part of 4.1
		5: {1, 5, 4}, // the part of 4.1 may have passed
	}, got)
}

func TestSubstantial(t *testing.T) {
	cases := append(some(95, "2026-10-05"), oneCase(201, "2026-10-06", reached), oneCase(202, "2026-10-07", reached))
	cases = append(cases,
		oneCase(203, "2026-10-08", func(c *summary.Case) { c.State = summary.StateUnknown }),
		oneCase(204, "2026-10-08", func(c *summary.Case) { c.State = "" }),
		oneCase(205, "2026-10-08", func(c *summary.Case) {
			c.State = summary.StateNear
			c.Flags = []summary.Flag{{Scope: summary.ScopeCase, Meaning: summary.MeaningFollowUp, Quantity: "psd", State: summary.StateNear}}
		}),
		oneCase(206, "2026-10-08", func(c *summary.Case) { // a notification is no follow-up level
			c.State = summary.StateReached
			c.Flags = []summary.Flag{{Scope: summary.ScopeCase, Meaning: "notification", Quantity: "kar", State: summary.StateReached}}
		}),
		oneCase(207, "2026-10-08", reached, func(c *summary.Case) { c.Quality = true }),
		oneCase(208, "2026-09-08", reached), oneCase(209, "2026-09-09"), oneCase(210, "2026-09-09"), oneCase(211, "2026-09-09"),
	)
	assert.Nil(t, summed(t, summary.Input{Cases: cases}).Substantial.Rate.Change, "four before tell nothing")
	cases = append(cases, oneCase(212, "2026-09-09"))
	s := summed(t, summary.Input{Cases: cases})
	assert.Equal(t, [3]int{2, 99, 2}, [3]int{s.Substantial.Rate.X, s.Substantial.Rate.N, s.Substantial.Rate.Unknown})
	low, high := statistic.Wilson(2, 99)
	assert.Equal(t, [2]float64{low, high}, [2]float64{s.Substantial.Rate.Low.Or(0), s.Substantial.Rate.High.Or(0)})
	assert.Equal(t, 1, s.Substantial.Near)
	assert.Equal(t, []summary.Reason{{Text: "kar", Cases: 2}}, s.Substantial.ByQuantity)
	require.Len(t, s.Substantial.Cases, 2)
	assert.Equal(t, []string{"ncrp168/kar"}, s.Substantial.Cases[0].Reached)
	assert.Equal(t, 1, s.Counts.TestObjects, "a test object counts nowhere else")
	require.NotNil(t, s.Substantial.Rate.Change)
	assert.Equal(t, [2]int{1, 5}, [2]int{s.Substantial.Rate.Change.XBefore, s.Substantial.Rate.Change.NBefore})
	difference, _, _ := statistic.ShareDifference(2, 99, 1, 5)
	assert.Equal(t, difference, s.Substantial.Rate.Change.Difference)
}

// TestSharesAsPrinted has shares of a paper (Mesnard et al 2025, read): 263, 541 and 1307 of 2111 are 12, 26 and 62 %.
func TestSharesAsPrinted(t *testing.T) {
	cases := []summary.Case{}
	for room, n := range map[string]int{"A": 263, "B": 541, "C": 1307} {
		for range n {
			cases = append(cases, oneCase(len(cases), "2026-10-05", func(c *summary.Case) { c.Room = room }))
		}
	}
	got := map[string]string{}
	for _, v := range summed(t, summary.Input{Cases: cases}).Volume {
		if v.By == "room" {
			got[v.Key] = fmt.Sprintf("%.0f", v.Share.Or(0)*100)
		}
	}
	assert.Equal(t, map[string]string{"A": "12", "B": "26", "C": "62"}, got)
}

func TestChangeAgainstThePeriodBefore(t *testing.T) {
	cases := append(some(40, "2026-10-05"), some(40, "2026-09-05")...)
	for i := range cases {
		cases[i].ID = fmt.Sprint(i)
		kap(map[bool]float64{true: 102, false: 130}[i < 40] * math.Exp(float64(i%40)/20-1))(&cases[i])
	}
	got := statisticNamed(t, ofClass(t, summed(t, summary.Input{Cases: cases})).All, "kap_gy_cm2").Change
	require.NotNil(t, got)
	assert.InDelta(t, -21.5, got.Percent, 0.05, "from 130 to 102, as a paper prints it")
	assert.Less(t, got.Low.Or(0), got.Percent)
	assert.Greater(t, got.High.Or(0), got.Percent)
	assert.Equal(t, 40, got.NBefore)
	got = statisticNamed(t, ofClass(t, summed(t, summary.Input{Cases: cases[:49]})).All, "kap_gy_cm2").Change
	require.NotNil(t, got)
	assert.False(t, got.Low.Present())
	assert.Equal(t, "few-values", got.Withheld, "nine before have no interval")
	got = statisticNamed(t, ofClass(t, summed(t, summary.Input{Cases: cases[:44]})).All, "kap_gy_cm2").Change
	assert.Nil(t, got, "four before have no median")
}

func TestArrival(t *testing.T) {
	performed := []summary.Performed{}
	for i := range 3582 { // 3363 of 3582 are 93.9 %, as a paper prints it (Acad Radiol 2019;26:163, read)
		performed = append(performed, summary.Performed{Day: "2026-10-05", Room: "Cath 2", Arrived: i < 3363, Why: "nothing came near"})
	}
	performed = append(performed, summary.Performed{Day: "2026-10-30", Room: "Cath 2", Pending: true}, summary.Performed{Day: "2026-10-30", Excluded: true})
	c := summed(t, summary.Input{Performed: performed}).Completeness
	require.NotNil(t, c.Arrival)
	assert.InDelta(t, 0.939, c.Arrival.Share.Or(0), 5e-4)
	assert.Equal(t, [2]int{3363, 3582}, [2]int{c.Arrival.X, c.Arrival.N})
	assert.Equal(t, [2]int{1, 1}, [2]int{c.Pending, c.Excluded})
	assert.Equal(t, []summary.Reason{{Text: "nothing came near", Cases: 219}}, c.Missing)
	without := summed(t, summary.Input{Cases: some(3, "2026-10-05")})
	assert.Nil(t, without.Completeness.Arrival, "without a list of what was performed nothing is said")
	assert.Equal(t, "no-performed-procedures", without.Completeness.ArrivalAbsent)
	assert.Equal(t, "no-performed-procedures", without.Indicators[1].Absent)
}

func TestIndicatorsAreAllThere(t *testing.T) {
	s := summed(t, summary.Input{})
	require.Len(t, s.Indicators, 15)
	for i, one := range s.Indicators {
		assert.Equal(t, fmt.Sprintf("Q%d", i+1), one.ID)
		assert.False(t, one.Given, "an empty month gives nothing: %s", one.ID)
		assert.NotEmpty(t, one.Absent)
	}
	s = summed(t, summary.Input{Cases: some(40, "2026-10-05")})
	for _, i := range []int{0, 2, 3, 4, 6, 7, 11, 12, 13, 14} {
		assert.True(t, s.Indicators[i].Given, s.Indicators[i].ID)
	}
}
