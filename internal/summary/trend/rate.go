package trend

import (
	"math"
	"slices"

	"afterbeam/internal/quantity"
)

// FewEvents is the number of events a month below which a chart of shares says little, and what lies between events is
// charted instead. Source: common practice (memory: Montgomery, Introduction to Statistical Quality Control; Benneyan 2001
// Health Care Manag Sci 4:305).
const FewEvents = 5

// MonthCount is x events of n cases in a month. Month is 2026-10.
type MonthCount struct {
	Month string
	X, N  int
}

// Rare tells whether months have so few events that a chart of what lies between them is to be preferred, eq. (14).
// Months are those before the period; without any it is not rare.
func Rare(months []MonthCount) bool {
	x := 0
	for _, m := range months {
		x += m.X
	}
	return len(months) > 0 && float64(x) < FewEvents*float64(len(months))
}

// Shares makes the chart of a share of each month, eq. (13): three standard deviations about the share of the baseline,
// between 0 and 1. Months come in order without gaps; those without a case have no point.
func Shares(head Chart, months []MonthCount, frozen *Baseline, in Scope, rules Rules) Chart {
	c := head
	c.Kind, c.Unit, c.Need = Share, "1", rules.BaselineLeast
	months = slices.DeleteFunc(slices.Clone(months), func(m MonthCount) bool { return m.N == 0 || m.Month > in.To[:7] })
	c.Baseline, c.Have, c.Status = shareBaseline(c.Key, months, frozen, in, rules)
	shares, sides := make([]float64, len(months)), make([]int, len(months))
	for i, m := range months {
		shares[i] = float64(m.X) / float64(m.N)
		c.Points = append(c.Points, Point{Day: m.Month, Value: shares[i], X: m.X, N: m.N, Rules: []string{}})
	}
	known := c.Baseline != nil && c.Status != NoSpread
	if known {
		c.Centre = quantity.Some(c.Baseline.Centre)
	}
	for i, m := range months {
		if !known {
			break
		}
		p := c.Baseline.Centre
		half := 3 * math.Sqrt(p*(1-p)/float64(m.N))
		lower, upper := max(p-half, 0), min(p+half, 1)
		c.Points[i].Lower, c.Points[i].Upper = quantity.Some(lower), quantity.Some(upper)
		sides[i] = sign(shares[i] - p)
		switch {
		case shares[i] > upper:
			c.mark(i, i, OutsideHigh)
		case shares[i] < lower:
			c.mark(i, i, OutsideLow)
		}
	}
	return c.runs(shares, sides, known, rules).kept(Scope{in.From[:7], in.To[:7]}, rules)
}

func shareBaseline(key string, months []MonthCount, frozen *Baseline, in Scope, rules Rules) (b *Baseline, have int, status Status) {
	for have < len(months) && months[have].Month < in.From[:7] {
		have++
	}
	switch {
	case frozen != nil:
		kept := *frozen
		kept.Frozen = true
		b, status = &kept, Frozen
	case have < rules.ProvisionalLeast:
		return nil, have, Forming
	default:
		x, n, most := 0, 0, min(have, rules.BaselineMost)
		for _, m := range months[:most] {
			x, n = x+m.X, n+m.N
		}
		b = &Baseline{Key: key, Kind: Share, From: months[0].Month, To: months[most-1].Month, N: most, Centre: float64(x) / float64(n)}
		status = Proposed
		if most < rules.BaselineLeast {
			status = Provisional
		}
	}
	if b.Centre <= 0 || b.Centre >= 1 {
		status = NoSpread
	}
	return b, have, status
}
