package statistic_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/summary/statistic"
)

// TestPercentileOfTheHandbook has the twelve values of the NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.2
// (memory, recomputed): the 90th percentile by place p(n+1) and by place 1+p(n-1).
func TestPercentileOfTheHandbook(t *testing.T) {
	values := []float64{95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682}
	slices.Sort(values)
	const printed = 5e-5 // half of the last printed decimal
	assert.InDelta(t, 95.1981, statistic.Type6.Of(values, 0.9), printed)
	assert.InDelta(t, 95.1957, statistic.Type7.Of(values, 0.9), printed)
}

// TestPercentileAtItsEdges shows what both definitions give for one value and beyond the first and the last.
func TestPercentileAtItsEdges(t *testing.T) {
	for _, kind := range []statistic.Type{statistic.Type6, statistic.Type7} {
		assert.Equal(t, 3.5, kind.Of([]float64{3.5}, 0.25))
		assert.Equal(t, 1.0, kind.Of([]float64{1, 2, 3}, 0))
		assert.Equal(t, 3.0, kind.Of([]float64{1, 2, 3}, 1))
		assert.Equal(t, 2.0, kind.Of([]float64{1, 2, 3}, 0.5))
		assert.Equal(t, 2.5, kind.Of([]float64{1, 2, 3, 4}, 0.5))
	}
	assert.Equal(t, 1.0, statistic.Type6.Of([]float64{1, 2, 3, 4}, 0.1), "place 0.5 lies before the first value")
	assert.Equal(t, 4.0, statistic.Type6.Of([]float64{1, 2, 3, 4}, 0.9), "place 4.5 lies behind the last value")
}

// TestWilson has the intervals of Newcombe 1998 Stat Med 17:857, table I, method 3 (memory, recomputed), and rates that a
// paper prints with their shares: Acad Radiol 2019;26:163 (read).
func TestWilson(t *testing.T) {
	const printed = 5e-5
	tests := map[string]struct {
		x, n      int
		low, high float64
	}{
		"81 of 263": {81, 263, 0.2553, 0.3662},
		"15 of 148": {15, 148, 0.0624, 0.1605},
		"0 of 20":   {0, 20, 0, 0.1611},
		"1 of 29":   {1, 29, 0.0061, 0.1718},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			low, high := statistic.Wilson(tt.x, tt.n)
			assert.InDelta(t, tt.low, low, printed)
			assert.InDelta(t, tt.high, high, printed)
			mirrorLow, mirrorHigh := statistic.Wilson(tt.n-tt.x, tt.n)
			assert.InDelta(t, 1-tt.high, mirrorLow, printed)
			assert.InDelta(t, 1-tt.low, mirrorHigh, printed)
		})
	}
	low, _ := statistic.Wilson(0, 7)
	_, high := statistic.Wilson(7, 7)
	assert.Equal(t, [2]float64{0, 1}, [2]float64{low, high}, "no event and nothing but events reach the end exactly")
}

// TestShareDifference has examples of Newcombe 1998 Stat Med 17:873, table II, method 10 (memory).
func TestShareDifference(t *testing.T) {
	const printed = 5e-5
	tests := map[string]struct {
		x, n, xBefore, nBefore int
		low, high              float64
	}{
		"56 of 70, 48 of 80": {56, 70, 48, 80, 0.0524, 0.3339},
		"9 of 10, 3 of 10":   {9, 10, 3, 10, 0.1705, 0.8090},
		"10 of 10, 0 of 20":  {10, 10, 0, 20, 0.6791, 1},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			_, low, high := statistic.ShareDifference(tt.x, tt.n, tt.xBefore, tt.nBefore)
			assert.InDelta(t, tt.low, low, printed)
			assert.InDelta(t, tt.high, high, printed)
		})
	}
}

// TestRanks has the ranks of the median's interval and their coverage, pure mathematics.
func TestRanks(t *testing.T) {
	tests := []struct {
		n, low, high int
		coverage     float64
	}{{10, 2, 9, .979}, {20, 6, 15, .959}, {30, 10, 21, .957}, {50, 18, 33, .967}}
	for _, tt := range tests {
		low, high, coverage, ok := statistic.Ranks(tt.n, 0.5)
		assert.True(t, ok)
		assert.Equal(t, [2]int{tt.low, tt.high}, [2]int{low, high}, "n = %d", tt.n)
		assert.InDelta(t, tt.coverage, coverage, 5e-4, "n = %d, to the printed decimals", tt.n)
	}
}

// TestLeastForInterval has the least numbers of values at which a two-sided 95 % interval exists, pure mathematics.
func TestLeastForInterval(t *testing.T) {
	for p, want := range map[float64]int{0.5: 6, 0.75: 13, 0.25: 13, 0.9: 36, 0.1: 36, 0.95: 72, 0.05: 72} {
		assert.Equal(t, want, statistic.LeastForInterval(p), "p = %v", p)
		_, _, _, below := statistic.Ranks(want-1, p)
		_, _, coverage, at := statistic.Ranks(want, p)
		assert.False(t, below, "p = %v with one value less", p)
		assert.True(t, at)
		assert.GreaterOrEqual(t, coverage, statistic.Confidence)
	}
}

// TestPercentChange has changes that papers print: J Invasive Cardiol 2021;33:E146 and Schernthaner 2015 Eur Radiol 25:3255
// (read), to their printed figures.
func TestPercentChange(t *testing.T) {
	assert.InDelta(t, -14.9, statistic.PercentChange(2.35, 2.00), 0.05)
	assert.InDelta(t, -21.5, statistic.PercentChange(130, 102), 0.05)
	assert.InDelta(t, -66, statistic.PercentChange(395.8, 132.9), 0.5)
}

// TestShowAt has the small-number rules just below and at each step.
func TestShowAt(t *testing.T) {
	for n, want := range map[int]statistic.Show{
		0: statistic.ShowNothing, 1: statistic.ShowList, 4: statistic.ShowList, 5: statistic.ShowRange, 9: statistic.ShowRange,
		10: statistic.ShowQuartiles, 19: statistic.ShowQuartiles, 20: statistic.ShowProvisional, 29: statistic.ShowProvisional,
		30: statistic.ShowFull, 35: statistic.ShowFull, 36: statistic.ShowP90, 71: statistic.ShowP90, 72: statistic.ShowP95,
	} {
		assert.Equal(t, want, statistic.ShowAt(n), "n = %d", n)
	}
	assert.False(t, statistic.ShowP90.Allows(35))
	assert.True(t, statistic.ShowP90.Allows(36))
	assert.Equal(t, statistic.LeastForInterval(0.9), statistic.ShowP90.Need(), "never a 90th percentile without an interval")
	assert.Equal(t, statistic.LeastForInterval(0.95), statistic.ShowP95.Need())
}
