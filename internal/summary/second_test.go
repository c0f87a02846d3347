package summary_test

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/peer"
	"afterbeam/internal/summary/statistic"
	"afterbeam/internal/summary/trend"
)

// dataSet is one random data set of the comparison with the second implementation.
type dataSet struct {
	Values     []float64 `json:"values"` // a class of cases in order of time
	Before     []float64 `json:"before"`
	X          int       `json:"x"`
	N          int       `json:"n"`
	XBefore    int       `json:"x_before"`
	NBefore    int       `json:"n_before"`
	First      int       `json:"first"` // the first value of the period
	Months     [][2]int  `json:"months"`
	FirstMonth int       `json:"first_month"`
	Events     []bool    `json:"events"` // one a case
	FirstEvent int       `json:"first_event"`
	Days       []int     `json:"days"` // of events
	FirstDay   int       `json:"first_day"`
}

type secondChart struct {
	Centre, Range float64
	Lower, Upper  any
	Signals       [][]any
	Wide          []int
}

type second struct {
	Percentiles       map[string][]any
	Wilson            []float64
	Difference, Ratio []float64
	Values            *secondChart
	Months            *secondChart
	Between, Days     *secondChart
}

// alike is how far two ways of computing in double precision may differ: some thousand roundings, as exponentials and
// incomplete beta functions of two libraries have them.
const alike = 1e-9

// TestSecondImplementation compares percentiles, intervals, shares, changes, and limits and signals of charts on 200
// random data sets with numpy and scipy, 40 outside of CI.
func TestSecondImplementation(t *testing.T) {
	python := peer.Need(t, "/usr/bin/python3")
	if err := exec.Command(python, "-c", "import numpy, scipy").Run(); err != nil {
		peer.Need(t, "python3-numpy and python3-scipy")
	}
	sets := make([]dataSet, 40)
	if ci := os.Getenv("CI"); ci == "true" || ci == "1" {
		sets = make([]dataSet, 200)
	}
	for i := range sets {
		sets[i] = randomSet(rand.New(rand.NewPCG(20261101, uint64(i))))
	}
	input, err := json.Marshal(sets)
	require.NoError(t, err)
	program, err := os.ReadFile("testdata/second.py")
	require.NoError(t, err)
	command := exec.CommandContext(t.Context(), python, "-c", string(program))
	command.Stdin = bytes.NewReader(input)
	var complaint bytes.Buffer
	command.Stderr = &complaint
	output, err := command.Output()
	require.NoError(t, err, complaint.String())
	var theirs []second
	require.NoError(t, json.Unmarshal(output, &theirs))
	require.Len(t, theirs, len(sets))
	charts := map[string]int{}
	for i, s := range sets {
		name := fmt.Sprintf("set %d", i)
		samePercentiles(t, name, s, theirs[i])
		sameShares(t, name, s, theirs[i])
		charts["values"] += sameChart(t, name+", values", valuesOf(s), theirs[i].Values)
		charts["months"] += sameChart(t, name+", months", monthsOf(s), theirs[i].Months)
		charts["between"] += sameChart(t, name+", cases between", betweenOf(s), theirs[i].Between)
		charts["days"] += sameChart(t, name+", days between", daysOf(s), theirs[i].Days)
	}
	for kind, compared := range charts {
		assert.Greater(t, compared, len(sets)/4, "charts of %s with limits", kind)
	}
}

func randomSet(r *rand.Rand) dataSet {
	draw := func(n int) []float64 {
		out := make([]float64, n)
		middle, spread := math.Exp(r.NormFloat64()*2), 0.3+r.Float64()
		for i := range out {
			out[i] = math.Round(middle*math.Exp(spread*r.NormFloat64())*100)/100 + 0.01 // ties happen, as in displays
		}
		return out
	}
	s := dataSet{Values: draw(1 + r.IntN(150)), Before: draw(1 + r.IntN(80)), N: 1 + r.IntN(400), NBefore: 1 + r.IntN(400)}
	s.X, s.XBefore, s.First = r.IntN(s.N+1), r.IntN(s.NBefore+1), r.IntN(len(s.Values)+1)
	if r.IntN(3) == 0 { // a shift that charts have to show
		for i := s.First; i < len(s.Values); i++ {
			s.Values[i] *= 3
		}
	}
	share := 0.02 + 0.3*r.Float64()
	for range 9 + r.IntN(40) {
		m := [2]int{0, 1 + r.IntN(120)}
		for range m[1] {
			if r.Float64() < share {
				m[0]++
			}
		}
		s.Months = append(s.Months, m)
	}
	s.FirstMonth = len(s.Months) - r.IntN(len(s.Months))
	for range 50 + r.IntN(600) {
		s.Events = append(s.Events, r.Float64() < share)
	}
	s.FirstEvent = len(s.Events) * (50 + r.IntN(50)) / 100
	day := 0
	for range 2 + r.IntN(40) {
		day += r.IntN(60)
		s.Days = append(s.Days, day)
	}
	s.FirstDay = day * (50 + r.IntN(51)) / 100
	return s
}

func samePercentiles(t *testing.T, name string, s dataSet, theirs second) {
	t.Helper()
	sorted := slices.Sorted(slices.Values(s.Values))
	for _, percent := range []int{10, 25, 50, 75, 90, 95} {
		want := theirs.Percentiles[strconv.Itoa(percent)]
		got := statistic.QuantileOf(sorted, percent, statistic.Type7)
		near(t, want[0], got.Value, "%s: P%d of type 7", name, percent)
		near(t, want[1], statistic.Type6.Of(sorted, float64(percent)/100), "%s: P%d of type 6", name, percent)
		interval, there := want[2].([]any)
		if !assert.Equal(t, there, got.Low.Present(), "%s: interval of P%d of %d", name, percent, len(sorted)) || !there {
			continue
		}
		assert.Equal(t, interval[0], float64(got.LowRank), "%s: P%d", name, percent)
		assert.Equal(t, interval[1], float64(got.HighRank), "%s: P%d", name, percent)
		near(t, interval[2], got.Low.Or(0), "%s: P%d", name, percent)
		near(t, interval[3], got.High.Or(0), "%s: P%d", name, percent)
		near(t, interval[4], got.Coverage.Or(0), "%s: coverage of P%d", name, percent)
	}
	low, high, ok := statistic.MedianRatio(sorted, slices.Sorted(slices.Values(s.Before)))
	if assert.Equal(t, theirs.Ratio != nil, ok, "%s: ratio of medians", name) && ok {
		near(t, theirs.Ratio[0], low, "%s: ratio of medians", name)
		near(t, theirs.Ratio[1], high, "%s: ratio of medians", name)
	}
}

func sameShares(t *testing.T, name string, s dataSet, theirs second) {
	t.Helper()
	low, high := statistic.Wilson(s.X, s.N)
	near(t, theirs.Wilson[0], low, "%s: %d of %d", name, s.X, s.N)
	near(t, theirs.Wilson[1], high, "%s: %d of %d", name, s.X, s.N)
	difference, low, high := statistic.ShareDifference(s.X, s.N, s.XBefore, s.NBefore)
	for i, got := range []float64{difference, low, high} {
		near(t, theirs.Difference[i], got, "%s: difference", name)
	}
}

func dayOf(n int) string { return time.Unix(0, 0).UTC().AddDate(0, 0, n).Format(time.DateOnly) }

func valuesOf(s dataSet) trend.Chart {
	values := []trend.Value{}
	for i, v := range s.Values {
		values = append(values, trend.Value{Case: dayOf(i), Day: dayOf(i), Order: int64(i), Value: v})
	}
	return trend.Values(trend.Chart{}, values, nil, trend.Scope{From: dayOf(s.First), To: dayOf(10000)}, trend.DefaultRules())
}

func monthsOf(s dataSet) trend.Chart {
	month := func(i int) string { return time.Date(2000, time.Month(1+i), 1, 0, 0, 0, 0, time.UTC).Format("2006-01") }
	months := []trend.MonthCount{}
	for i, m := range s.Months {
		months = append(months, trend.MonthCount{Month: month(i), X: m[0], N: m[1]})
	}
	return trend.Shares(trend.Chart{}, months, nil, trend.Scope{From: month(s.FirstMonth) + "-01", To: "2099-12-31"}, trend.DefaultRules())
}

func betweenOf(s dataSet) trend.Chart {
	cases := []trend.Case{}
	for i, event := range s.Events {
		cases = append(cases, trend.Case{Case: dayOf(i), Day: dayOf(i), Order: int64(i), Event: event})
	}
	return trend.Between(trend.Chart{}, cases, nil, trend.Scope{From: dayOf(s.FirstEvent), To: dayOf(10000)}, trend.DefaultRules())
}

func daysOf(s dataSet) trend.Chart {
	events := []trend.Case{}
	for i, day := range s.Days {
		events = append(events, trend.Case{Case: strconv.Itoa(i), Day: dayOf(day), Order: int64(i), Event: true})
	}
	return trend.Days(trend.Chart{}, events, nil, trend.Scope{From: dayOf(s.FirstDay), To: dayOf(100000)}, trend.DefaultRules())
}

// sameChart compares limits and signals, and tells whether there were any limits.
func sameChart(t *testing.T, name string, got trend.Chart, want *secondChart) int {
	t.Helper()
	if !assert.Equal(t, want != nil, got.Centre.Present(), "%s: limits, status %s, %d points", name, got.Status, got.Have) || want == nil {
		return 0
	}
	near(t, want.Centre, got.Centre.Or(0), "%s: centre", name)
	if want.Range > 0 && got.RangeUpper.Present() {
		near(t, want.Range, got.RangeUpper.Or(0), "%s: limit of the moving range", name)
	}
	uppers, each := want.Upper.([]any)
	switch {
	case each:
		for i, p := range got.Points {
			near(t, want.Lower.([]any)[i], p.Lower.Or(-1), "%s: lower limit of %s", name, p.Day)
			near(t, uppers[i], p.Upper.Or(-1), "%s: upper limit of %s", name, p.Day)
		}
	default:
		near(t, want.Upper, got.Upper.Or(-1), "%s: upper limit", name)
		if want.Lower != nil {
			near(t, want.Lower, got.Lower.Or(-1), "%s: lower limit", name)
		}
	}
	wide := []int(nil)
	for i, p := range got.Points {
		if slices.Contains(p.Rules, trend.WideRange) {
			wide = append(wide, i)
		}
	}
	assert.ElementsMatch(t, want.Wide, wide, "%s: wide steps", name)
	type plain struct {
		rule     string
		from, to string
	}
	theirs, ours := []plain{}, []plain{}
	for _, s := range want.Signals {
		at := func(i int) string { return got.Points[int(s[i].(float64))].Day }
		theirs = append(theirs, plain{s[0].(string), at(1), at(2)})
	}
	for _, s := range got.Signals {
		ours = append(ours, plain{s.Rule, s.From, s.To})
	}
	order := func(a, b plain) int {
		return cmp.Or(cmp.Compare(a.rule, b.rule), cmp.Compare(a.from, b.from), cmp.Compare(a.to, b.to))
	}
	slices.SortFunc(theirs, order)
	slices.SortFunc(ours, order)
	assert.Equal(t, theirs, ours, "%s: signals", name)
	return 1
}

func near(t *testing.T, want any, got float64, format string, args ...any) {
	t.Helper()
	number, ok := want.(float64)
	require.True(t, ok, format, args)
	assert.InDelta(t, number, got, alike*math.Max(1, math.Abs(number)), fmt.Sprintf(format, args...))
}
