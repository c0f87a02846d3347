package trend

import (
	"cmp"
	"math"
	"slices"
	"time"

	"afterbeam/internal/quantity"
)

// exponent makes times between events of a constant rate nearly normal. Source: Nelson 1994 J Qual Technol 26:239 (memory).
const exponent = 1 / 3.6

// Case is one case of a chart of what lies between events.
type Case struct {
	Case, Day string
	Order     int64
	Event     bool
}

// Between makes the chart of the number of cases between two events, eq. (15): a chart of type g. The cases before the
// first event are no gap. Source: Benneyan 2001 Health Care Manag Sci 4:305 (memory).
func Between(head Chart, cases []Case, frozen *Baseline, in Scope, rules Rules) Chart {
	c := head
	c.Kind, c.Unit, c.Need = CasesBetween, "1", rules.BaselineLeast
	gaps, days := []float64{}, []string{}
	last := -1
	for i, one := range upTo(cases, in) {
		if !one.Event {
			continue
		}
		if last >= 0 {
			gaps, days = append(gaps, float64(i-last-1)), append(days, one.Day)
			c.Points = append(c.Points, Point{Day: one.Day, Case: one.Case, Value: gaps[len(gaps)-1], Rules: []string{}})
		}
		last = i
	}
	c.Baseline, c.Have, c.Status = baselineOf(c.Key, CasesBetween, gaps, days, frozen, in, rules.ProvisionalLeast, rules)
	if c.Baseline == nil {
		return c.judged(gaps, line{}, in, rules)
	}
	c.Baseline.MovingRange = 0
	if c.Status == NoSpread && c.Baseline.Centre > 0 { // the mean alone makes the limits of a geometric distribution
		c.Status = settledStatus(c.Baseline, rules)
	}
	g := c.Baseline.Centre
	if g <= 0 {
		return c.judged(gaps, line{}, in, rules)
	}
	// Half of a geometric distribution lies below its median and not below its mean: sides are told by the median, (16).
	median := math.Ceil(-math.Ln2/math.Log(g/(1+g))) - 1
	l := line{known: true, centre: median, lower: 0, upper: g + 3*math.Sqrt(g*(g+1))}
	c.Centre, c.Lower, c.Upper = quantity.Some(g), quantity.Some(0.0), quantity.Some(l.upper)
	return c.judged(gaps, l, in, rules)
}

// settledStatus says what a baseline is that has what it needs.
func settledStatus(b *Baseline, rules Rules) Status {
	switch {
	case b.Frozen:
		return Frozen
	case b.N < rules.BaselineLeast:
		return Provisional
	}
	return Proposed
}

// Days makes the chart of the days between two events, eq. (15) and (11): a chart of type t, of single values after
// transformation. It is for events whose number of cases is not known. A day that cannot be read is left out.
func Days(head Chart, events []Case, frozen *Baseline, in Scope, rules Rules) Chart {
	c := head
	c.Kind, c.Unit, c.Need = DaysBetween, "d", rules.BaselineLeast
	gaps, days := []float64{}, []string{}
	var last time.Time
	for _, one := range upTo(events, in) {
		at, err := time.Parse(time.DateOnly, one.Day)
		if err != nil || !one.Event {
			c.LeftOut++
			continue
		}
		if !last.IsZero() {
			between := at.Sub(last).Hours() / 24
			gaps, days = append(gaps, math.Pow(between, exponent)), append(days, one.Day)
			c.Points = append(c.Points, Point{Day: one.Day, Case: one.Case, Value: between, Rules: []string{}})
		}
		last = at
	}
	c.Baseline, c.Have, c.Status = baselineOf(c.Key, DaysBetween, gaps, days, frozen, in, rules.ProvisionalLeast, rules)
	l := lineOf(c.Baseline, c.Status)
	if l.known {
		l.lower = max(l.lower, 0)
		back := func(v float64) quantity.Opt[float64] { return quantity.Some(math.Pow(v, 1/exponent)) }
		c.Centre, c.Lower, c.Upper = back(l.centre), back(l.lower), back(l.upper)
		l.ranges = 0 // the range of transformed days has no meaning for people
	}
	return c.judged(gaps, l, in, rules)
}

// upTo gives the cases up to the end of the period, in order.
func upTo(cases []Case, in Scope) []Case {
	sorted := slices.DeleteFunc(slices.Clone(cases), func(c Case) bool { return c.Day > in.To })
	slices.SortFunc(sorted, func(a, b Case) int {
		return cmp.Or(cmp.Compare(a.Order, b.Order), cmp.Compare(a.Case, b.Case))
	})
	return sorted
}
