package summary_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/summary"
	"afterbeam/internal/summary/reference"
	"afterbeam/internal/summary/statistic"
	"afterbeam/internal/summary/trend"
)

func TestRefused(t *testing.T) {
	good := summary.Input{Period: summary.Period{Name: october}, AsOf: "2026-11-02"}
	settings := summary.DefaultSettings()
	in := good
	in.Period.Name = "2026-13"
	_, err := summary.Summarise(in, settings)
	require.ErrorIs(t, err, summary.ErrPeriod)
	in = good
	in.AsOf = "yesterday"
	_, err = summary.Summarise(in, settings)
	require.ErrorIs(t, err, summary.ErrInvalid)
	for name, change := range map[string]func(*summary.Settings){
		"percentile": func(s *summary.Settings) { s.Percentile = 5 },
		"crossings":  func(s *summary.Settings) { s.CrossingStep = 0 },
		"baseline":   func(s *summary.Settings) { s.Trend.BaselineLeast = 60 },
		"signals":    func(s *summary.Settings) { s.Trend.Run = 2 },
	} {
		settings := summary.DefaultSettings()
		change(&settings)
		_, err := summary.Summarise(good, settings)
		require.ErrorIs(t, err, summary.ErrInvalid, name)
	}
	settings.Percentile = statistic.Type6
	s, err := summary.Summarise(good, settings)
	require.NoError(t, err)
	assert.Contains(t, s.Methods.Percentile, "type 6")
}

func TestPeriods(t *testing.T) {
	tests := map[string]struct{ kind, from, to, before, after string }{
		"2026-10":    {summary.Month, "2026-10-01", "2026-10-31", "2026-09", "2026-11"},
		"2026-01":    {summary.Month, "2026-01-01", "2026-01-31", "2025-12", "2026-02"},
		"2024-02":    {summary.Month, "2024-02-01", "2024-02-29", "2024-01", "2024-03"},
		"2026-Q1":    {summary.Quarter, "2026-01-01", "2026-03-31", "2025-Q4", "2026-Q2"},
		"2026-Q4":    {summary.Quarter, "2026-10-01", "2026-12-31", "2026-Q3", "2027-Q1"},
		"2026":       {summary.Year, "2026-01-01", "2026-12-31", "2025", "2027"},
		"2017--2026": {summary.Years, "2017-01-01", "2026-12-31", "2007--2016", "2027--2036"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			p, err := summary.ParsePeriod(name)
			require.NoError(t, err)
			assert.Equal(t, summary.Period{Name: name, Kind: tt.kind, From: tt.from, To: tt.to}, p)
			assert.Equal(t, tt.before, p.Before().Name)
			assert.Equal(t, tt.after, p.After().Name)
			assert.True(t, p.Holds(tt.from) && p.Holds(tt.to) && !p.Holds(p.Before().To) && !p.Holds(p.After().From))
			months := p.Months()
			assert.Equal(t, [2]string{tt.from, tt.to}, [2]string{months[0].From, months[len(months)-1].To})
		})
	}
	for _, name := range []string{"", "26-10", "2026-1", "2026-00", "2026-13", "2026-Q0", "2026-Q5", "2026-q1", "2026-Q04", "2026-10-01", "2026--2026", "2026--2025", "1900--2026", "+026", "2026-+1", "2026-Q+"} {
		_, err := summary.ParsePeriod(name)
		assert.ErrorIs(t, err, summary.ErrPeriod, name)
	}
}

func TestFrozenBaselines(t *testing.T) {
	cases := []summary.Case{}
	for i := range 60 { // a change of the protocol in October doubles what is shown
		day := time.Date(2026, 8, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, i+i/2)
		v := 20 * math.Exp(0.2*float64(i%5-2))
		if day.Month() == time.October {
			v *= 4
		}
		cases = append(cases, oneCase(i, day.Format(time.DateOnly), kap(v)))
	}
	s := summed(t, summary.Input{Cases: cases})
	chart := chartOf(t, s, "x-mr|kap_gy_cm2|coronary_diagnostic|device-2")
	require.Equal(t, trend.Proposed, chart.Status)
	require.NotNil(t, chart.Baseline)
	rules := map[string]bool{}
	for _, one := range s.Signals {
		if one.Chart == chart.Key {
			rules[one.Rule] = true
		}
	}
	assert.True(t, rules[trend.OutsideHigh], "the doubling shows: %v", s.Signals)
	why := map[string][]string{}
	for _, row := range s.Review.Rows {
		why[row.Case.ID] = row.Why
		assert.Equal(t, summary.ReviewPending, row.State)
	}
	assert.NotEmpty(t, why, "cases above the chart are listed for review")

	kept := *chart.Baseline
	kept.Frozen, kept.FrozenOn, kept.FrozenBy = true, "2026-10-02", "quality"
	again := chartOf(t, summed(t, summary.Input{Cases: cases[30:], Baselines: []trend.Baseline{kept}}), chart.Key)
	assert.Equal(t, trend.Frozen, again.Status)
	assert.Equal(t, chart.Upper, again.Upper, "what history is handed in does not matter any more")
	assert.Equal(t, "quality", again.Baseline.FrozenBy)
	older := kept
	older.FrozenOn, older.Centre = "2026-01-01", 9
	for _, both := range [][]trend.Baseline{{kept, older}, {older, kept}} {
		assert.Equal(t, chart.Upper, chartOf(t, summed(t, summary.Input{Cases: cases, Baselines: both}), chart.Key).Upper, "the one frozen last holds")
	}
}

func chartOf(t *testing.T, s summary.Summary, key string) trend.Chart {
	t.Helper()
	keys := []string{}
	for _, c := range s.Charts {
		keys = append(keys, c.Key)
		if c.Key == key {
			return c
		}
	}
	t.Fatalf("no chart %q among %q", key, keys)
	return trend.Chart{}
}

// TestCasesBeforeTheHistory has three cases of years ago, which are there because something is still asked: they are the
// highest doses, and no baseline may begin with them.
func TestCasesBeforeTheHistory(t *testing.T) {
	cases := append(some(30, "2026-09-05"), some(5, "2026-10-05")...)
	for i := range cases {
		cases[i].ID = fmt.Sprint("id-", i)
	}
	in := summary.Input{Cases: cases, History: "2026-09-01"}
	want := summed(t, in)
	for i := range 3 {
		in.Cases = append(in.Cases, oneCase(500+i, "2022-05-01", kap(900), kerma(9), reached, asks(openAsk("late-check", "2023-05-01"))))
	}
	got := summed(t, in)
	assert.Equal(t, want.Charts, got.Charts)
	assert.Len(t, got.FollowUp.Open, 3)
}

func TestTwelveMonthsOfAClass(t *testing.T) {
	cases := []summary.Case{}
	for _, day := range []string{"2025-10-31", "2025-11-01", "2026-04-05", "2026-10-05"} {
		for range 15 {
			cases = append(cases, oneCase(len(cases), day, kap(40)))
		}
	}
	cases = append(cases, oneCase(900, "2026-05-05", func(c *summary.Case) { c.Pregnant = true }))
	c := ofClass(t, summed(t, summary.Input{Cases: cases}))
	assert.Empty(t, c.Positions, "15 cases are too few")
	require.NotNil(t, c.Year)
	assert.Equal(t, []any{"2025-11-01", "2026-10-31", 45}, []any{c.Year.From, c.Year.To, c.Year.Cases})
	require.NotEmpty(t, c.Year.Positions)
	assert.Equal(t, 45, c.Year.Positions[0].N)
	assert.Equal(t, reference.Above, c.Year.Positions[0].Verdict, "40 against 30 Gy cm2 of ARPANSA")
	c = ofClass(t, summed(t, summary.Input{Cases: cases, History: "2026-04-01"}))
	assert.Equal(t, []any{"2026-04-01", 30}, []any{c.Year.From, c.Year.Cases}, "what lies before the history is not all there")
	c = ofClass(t, summed(t, summary.Input{Cases: cases, Period: summary.Period{Name: "2026"}}))
	assert.Nil(t, c.Year)
	c = ofClass(t, summed(t, summary.Input{Cases: cases[45:]}))
	assert.Nil(t, c.Year, "without earlier cases it says what the month says")
}
