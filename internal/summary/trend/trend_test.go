package trend_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/summary/trend"
)

// rounding is some roundings of double precision, as a fraction.
const rounding = 1e-12

func day(n int) string {
	return time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, n).Format(time.DateOnly)
}

func values(logs ...float64) []trend.Value {
	out := []trend.Value{}
	for i, v := range logs {
		out = append(out, trend.Value{Case: fmt.Sprint("case ", i), Day: day(i), Order: int64(i), Value: math.Exp(v)})
	}
	return out
}

// swinging has as many logarithms that go to and fro between 0 and 1: their mean is 0.5, their mean moving range 1.
func swinging(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = float64(i % 2)
	}
	return out
}

func from(n int) trend.Scope { return trend.Scope{From: day(n), To: day(1000)} }

func TestValuesLimits(t *testing.T) {
	c := trend.Values(trend.Chart{Key: "k"}, values(append(swinging(20), 0.5)...), nil, from(20), trend.DefaultRules())
	require.Equal(t, trend.Proposed, c.Status)
	assert.InEpsilon(t, math.Exp(0.5), c.Centre.Or(0), rounding)
	assert.InEpsilon(t, math.Exp(0.5-2.66), c.Lower.Or(0), rounding)
	assert.InEpsilon(t, math.Exp(0.5+2.66), c.Upper.Or(0), rounding)
	assert.InEpsilon(t, math.Exp(3.267), c.RangeUpper.Or(0), rounding)
	assert.Equal(t, trend.Baseline{Key: "k", Kind: trend.ValueAndRange, From: day(0), To: day(19), N: 20, Centre: 0.5, MovingRange: 1}, *c.Baseline)
	assert.Empty(t, c.Signals)
	assert.True(t, c.Points[19].Baseline)
	assert.False(t, c.Points[20].Baseline)
}

// TestSignals has each rule just short of a signal and at it, after a baseline of mean 0.5 and limits 0.5 ± 2.66.
func TestSignals(t *testing.T) {
	tests := map[string]struct {
		then []float64
		want []trend.Signal
	}{
		"just inside":            {[]float64{0.5 + 2.65}, nil},
		"just outside":           {[]float64{0.5 + 2.67}, []trend.Signal{{Rule: trend.OutsideHigh, From: day(20), To: day(20), Count: 1}}},
		"just outside below":     {[]float64{0.5 - 2.67}, []trend.Signal{{Rule: trend.OutsideLow, From: day(20), To: day(20), Count: 1}}},
		"seven on one side":      {[]float64{0.6, 0.7, 0.6, 0.7, 0.6, 0.7}, nil}, // the last of the baseline lies on that side
		"eight on one side":      {[]float64{0.6, 0.7, 0.6, 0.7, 0.6, 0.7, 0.6}, []trend.Signal{{Rule: trend.OneSideHigh, From: day(19), To: day(26), Count: 8}}},
		"eight on the other":     {[]float64{0.4, 0.3, 0.4, 0.3, 0.4, 0.3, 0.4, 0.3}, []trend.Signal{{Rule: trend.OneSideLow, From: day(20), To: day(27), Count: 8}}},
		"the centre breaks it":   {[]float64{0.4, 0.3, 0.4, 0.3, 0.5, 0.3, 0.4, 0.3, 0.4}, nil},
		"five rising":            {[]float64{0.1, 0.2, 0.3, 0.7, 0.8}, nil},
		"six rising":             {[]float64{0.1, 0.2, 0.3, 0.7, 0.8, 0.9}, []trend.Signal{{Rule: trend.Rising, From: day(20), To: day(25), Count: 6}}},
		"six falling":            {[]float64{0.9, 0.8, 0.7, 0.3, 0.2}, []trend.Signal{{Rule: trend.Falling, From: day(19), To: day(24), Count: 6}}}, // from 1 on
		"a tie breaks the rise":  {[]float64{0.1, 0.2, 0.3, 0.3, 0.8, 0.9}, nil},
		"a jump within limits":   {[]float64{-2, 1.5}, nil},
		"seven rising are one":   {[]float64{0.1, 0.2, 0.3, 0.4, 0.6, 0.7, 0.8}, []trend.Signal{{Rule: trend.Rising, From: day(20), To: day(26), Count: 7}}},
		"nine on a side are one": {[]float64{0.4, 0.3, 0.4, 0.3, 0.4, 0.3, 0.4, 0.3, 0.4}, []trend.Signal{{Rule: trend.OneSideLow, From: day(20), To: day(28), Count: 9}}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c := trend.Values(trend.Chart{}, values(append(swinging(20), tt.then...)...), nil, from(20), trend.DefaultRules())
			assert.ElementsMatch(t, tt.want, c.Signals)
			for _, s := range tt.want {
				assert.Contains(t, c.Points[len(c.Points)-1].Rules, s.Rule, "the last point carries the rule")
			}
		})
	}
}

func TestSignalsOfOtherPeriodsAreNotTold(t *testing.T) {
	c := trend.Values(trend.Chart{}, values(append(swinging(20), 9, 0.5, 0.5)...), nil, trend.Scope{From: day(21), To: day(22)}, trend.DefaultRules())
	assert.Empty(t, c.Signals, "the point outside lies before the period")
	c = trend.Values(trend.Chart{}, values(append(swinging(20), 0.5, 9)...), nil, trend.Scope{From: day(20), To: day(20)}, trend.DefaultRules())
	assert.Len(t, c.Points, 21, "what comes after the period is not charted")
	assert.Empty(t, c.Signals)
}

func TestBaselineFormsAndFreezes(t *testing.T) {
	c := trend.Values(trend.Chart{}, values(swinging(25)...), nil, from(19), trend.DefaultRules())
	assert.Equal(t, trend.Forming, c.Status)
	assert.Equal(t, [2]int{19, 20}, [2]int{c.Have, c.Need})
	assert.False(t, c.Centre.Present(), "no limits from too few cases")
	assert.Nil(t, c.Baseline)

	proposed := trend.Values(trend.Chart{}, values(swinging(25)...), nil, from(20), trend.DefaultRules()).Baseline
	require.NotNil(t, proposed)
	assert.False(t, proposed.Frozen)
	later := make([]float64, 60)
	for i := range later {
		later[i] = 3 + float64(i%3)
	}
	c = trend.Values(trend.Chart{}, values(later...), proposed, from(40), trend.DefaultRules())
	assert.Equal(t, trend.Frozen, c.Status)
	assert.InEpsilon(t, math.Exp(0.5), c.Centre.Or(0), rounding, "a frozen baseline does not follow the values")
	assert.False(t, proposed.Frozen, "what was handed in stays as it is")
}

func TestBaselineWithoutSpread(t *testing.T) {
	c := trend.Values(trend.Chart{}, values(make([]float64, 30)...), nil, from(20), trend.DefaultRules())
	assert.Equal(t, trend.NoSpread, c.Status)
	assert.False(t, c.Upper.Present(), "equal values make no limits")
	assert.Empty(t, c.Signals)
}

func TestValuesThatHaveNoLogarithm(t *testing.T) {
	v := values(swinging(22)...)
	v[3].Value, v[4].Value = 0, -1
	c := trend.Values(trend.Chart{LeftOut: 5}, v, nil, from(20), trend.DefaultRules())
	assert.Equal(t, 7, c.LeftOut, "those that the caller left out, and two")
	assert.Len(t, c.Points, 20)
}

func TestPointsAreLimited(t *testing.T) {
	rules := trend.DefaultRules()
	rules.PointsMost = 10
	c := trend.Values(trend.Chart{}, values(append(swinging(30), 9)...), nil, from(30), rules)
	assert.Len(t, c.Points, 10)
	assert.Equal(t, 21, c.Earlier)
	assert.Len(t, c.Signals, 1)
	assert.Equal(t, []string{trend.OutsideHigh, trend.WideRange}, c.Points[9].Rules, "a wide step is marked and no signal")
}

func months(counts ...[2]int) []trend.MonthCount {
	out := []trend.MonthCount{}
	for i, c := range counts {
		out = append(out, trend.MonthCount{Month: time.Date(2025, time.Month(1+i), 1, 0, 0, 0, 0, time.UTC).Format("2006-01"), X: c[0], N: c[1]})
	}
	return out
}

func repeated(n int, c [2]int) [][2]int {
	out := make([][2]int, n)
	for i := range out {
		out[i] = c
	}
	return out
}

func TestShares(t *testing.T) {
	at := trend.Scope{From: "2026-09-01", To: "2026-12-31"} // after twenty months
	of := append(repeated(20, [2]int{10, 100}), [2]int{18, 100}, [2]int{20, 100}, [2]int{0, 25}, [2]int{1, 400})
	c := trend.Shares(trend.Chart{}, months(of...), nil, at, trend.DefaultRules())
	require.Equal(t, trend.Proposed, c.Status)
	assert.InEpsilon(t, 0.1, c.Centre.Or(0), rounding)
	assert.InEpsilon(t, 0.01, c.Points[20].Lower.Or(0), rounding, "0.1 - 3 sqrt(0.09/100)")
	assert.InEpsilon(t, 0.19, c.Points[20].Upper.Or(0), rounding)
	assert.Equal(t, 0.0, c.Points[22].Lower.Or(1), "no share is below 0")
	assert.Equal(t, []trend.Signal{
		{Rule: trend.OutsideHigh, From: "2026-10", To: "2026-10", Count: 1},
		{Rule: trend.OutsideLow, From: "2026-12", To: "2026-12", Count: 1},
	}, c.Signals)

	c = trend.Shares(trend.Chart{}, months(of[13:]...), nil, trend.Scope{From: "2025-08-01", To: "2025-08-31"}, trend.DefaultRules())
	assert.Equal(t, trend.Forming, c.Status, "seven months before the period")
	c = trend.Shares(trend.Chart{}, months(of[12:]...), nil, trend.Scope{From: "2025-09-01", To: "2025-09-30"}, trend.DefaultRules())
	assert.Equal(t, trend.Provisional, c.Status, "eight months before the period")
	c = trend.Shares(trend.Chart{}, months(repeated(24, [2]int{0, 50})...), nil, at, trend.DefaultRules())
	assert.Equal(t, trend.NoSpread, c.Status, "a share of nothing has no limits")
}

func TestRare(t *testing.T) {
	assert.False(t, trend.Rare(nil), "nothing is known yet")
	assert.True(t, trend.Rare(months(repeated(3, [2]int{4, 10})...)))
	assert.False(t, trend.Rare(months(repeated(3, [2]int{5, 1000})...)), "five a month are enough")
}

// each makes a series in which every so many-th case is an event.
func each(n, every int) []trend.Case {
	out := []trend.Case{}
	for i := range n {
		out = append(out, trend.Case{Case: fmt.Sprint(i), Day: day(i), Order: int64(i), Event: i%every == every-1})
	}
	return out
}

func TestBetween(t *testing.T) {
	cases := append(each(211, 10), trend.Case{Case: "late", Day: day(260), Order: 260, Event: true})
	for i := 211; i < 260; i++ {
		cases = append(cases, trend.Case{Case: fmt.Sprint(i), Day: day(i), Order: int64(i)})
	}
	c := trend.Between(trend.Chart{}, cases, nil, from(211), trend.DefaultRules())
	require.Equal(t, trend.Proposed, c.Status, "20 gaps of 9 cases")
	assert.Equal(t, 9.0, c.Centre.Or(0))
	assert.InEpsilon(t, 9+3*math.Sqrt(90), c.Upper.Or(0), rounding)
	assert.Equal(t, 0.0, c.Lower.Or(1))
	assert.Equal(t, 50.0, c.Points[len(c.Points)-1].Value, "51 cases later")
	assert.Contains(t, c.Signals, trend.Signal{Rule: trend.OutsideHigh, From: day(260), To: day(260), Count: 1}, "events have become rarer")

	thick := each(300, 10)
	for i := 211; i < 220; i++ {
		thick[i].Event = true
	}
	c = trend.Between(trend.Chart{}, thick, nil, from(211), trend.DefaultRules())
	assert.Contains(t, rulesOf(c), trend.OneSideLow, "eight events one after the other")
	c = trend.Between(trend.Chart{}, each(211, 10), nil, from(81), trend.DefaultRules())
	assert.Equal(t, trend.Forming, c.Status, "seven gaps")
	c = trend.Between(trend.Chart{}, each(211, 10), nil, from(90), trend.DefaultRules())
	assert.Equal(t, trend.Provisional, c.Status, "eight gaps")
	frozen := *c.Baseline
	frozen.Centre = 30
	c = trend.Between(trend.Chart{}, each(211, 10), &frozen, from(81), trend.DefaultRules())
	assert.Equal(t, trend.Frozen, c.Status)
	assert.Equal(t, 30.0, c.Centre.Or(0))
}

func TestDays(t *testing.T) {
	events := []trend.Case{}
	at := 0
	for i := range 22 {
		events = append(events, trend.Case{Case: fmt.Sprint(i), Day: day(at), Order: int64(i), Event: true})
		at += 20 + 20*(i%2)
	}
	c := trend.Days(trend.Chart{}, events, nil, from(10000), trend.DefaultRules())
	c2 := trend.Days(trend.Chart{}, events, nil, trend.Scope{From: day(at), To: day(at + 1)}, trend.DefaultRules())
	require.Equal(t, trend.Proposed, c2.Status)
	assert.Equal(t, 20.0, c2.Points[0].Value)
	a, b := math.Pow(20, 1/3.6), math.Pow(40, 1/3.6)
	n := 21.0
	centre := (11*a + 10*b) / n
	assert.InEpsilon(t, math.Pow(centre, 3.6), c2.Centre.Or(0), rounding)
	assert.InEpsilon(t, math.Pow(centre+2.66*(b-a), 3.6), c2.Upper.Or(0), rounding)
	assert.Empty(t, c2.Signals)
	assert.NotNil(t, c.Points)
}

func rulesOf(c trend.Chart) []string {
	out := []string{}
	for _, s := range c.Signals {
		out = append(out, s.Rule)
	}
	return out
}
