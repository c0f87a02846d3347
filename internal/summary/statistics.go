package summary

import (
	"afterbeam/internal/quantity"
	"afterbeam/internal/summary/statistic"
)

// statisticOf sums up one quantity of a group, as far as the small-number rules let it.
func (w *work) statisticOf(m measure, now, before sample) Statistic {
	n := len(now.sorted)
	s := Statistic{
		Quantity: m.name, Unit: m.unit, Basis: m.basis, N: n, Of: now.of, LeftOut: now.leftOut(),
		Complete: tally{x: n, n: now.of}.proportion(), Method: w.settings.Percentile.String(), Show: statistic.ShowAt(n), Withheld: []Withheld{},
	}
	for _, percentile := range []struct {
		to            **statistic.Quantile
		name          string
		percent       int
		shown, spread statistic.Show // from when on the value is shown, and its interval
	}{
		{&s.P10, "p10", 10, statistic.ShowP90, statistic.ShowP90},
		{&s.P25, "p25", 25, statistic.ShowQuartiles, statistic.ShowFull},
		{&s.Median, "median", 50, statistic.ShowRange, statistic.ShowQuartiles},
		{&s.P75, "p75", 75, statistic.ShowQuartiles, statistic.ShowFull},
		{&s.P90, "p90", 90, statistic.ShowP90, statistic.ShowP90},
		{&s.P95, "p95", 95, statistic.ShowP95, statistic.ShowP95},
	} {
		if !percentile.shown.Allows(n) {
			s.Withheld = append(s.Withheld, Withheld{What: percentile.name, Reason: withheldFew, Need: percentile.shown.Need()})
			continue
		}
		q := statistic.QuantileOf(now.sorted, percentile.percent, w.settings.Percentile)
		if !percentile.spread.Allows(n) {
			q.Low, q.High, q.Coverage, q.LowRank, q.HighRank = quantity.None[float64](), quantity.None[float64](), quantity.None[float64](), 0, 0
			q.Need = percentile.spread.Need()
		}
		*percentile.to = &q
	}
	if statistic.ShowRange.Allows(n) {
		s.Min, s.Max = quantity.Some(now.sorted[0]), quantity.Some(now.sorted[n-1])
		s.Change = w.changeOf(now.sorted, before.sorted)
	} else {
		s.Withheld = append(s.Withheld, Withheld{What: "range", Reason: withheldFew, Need: statistic.ShowRange.Need()})
	}
	return s
}

// changeOf gives the median against the one before, nil where that period has too few values for a median.
func (w *work) changeOf(now, before []float64) *MedianChange {
	if !statistic.ShowRange.Allows(len(before)) {
		return nil
	}
	was := w.settings.Percentile.Of(before, 0.5)
	if was <= 0 {
		return nil
	}
	c := MedianChange{Before: was, NBefore: len(before), Percent: statistic.PercentChange(was, w.settings.Percentile.Of(now, 0.5))}
	low, high, ok := statistic.MedianRatio(now, before)
	switch {
	case ok:
		c.Low, c.High = quantity.Some((low-1)*100), quantity.Some((high-1)*100)
	case min(len(now), len(before)) < statistic.LeastForChange:
		c.Withheld = withheldFew
	default:
		c.Withheld = withheldZero
	}
	return &c
}

// groupOf gives a group without its statistics.
func groupOf(key, title string, cases int) Group {
	return Group{
		Key: key, Title: title, Cases: cases, Show: statistic.ShowAt(cases),
		Statistics: []Statistic{}, List: []CaseLine{}, Withheld: []Withheld{},
	}
}
