package trend

import (
	"cmp"
	"math"
	"slices"

	"afterbeam/internal/quantity"
)

// Constants of charts of single values: 3/d2 and D4 for moving ranges of two, d2 = 1.128. Source: standard tables
// (memory: Montgomery, Introduction to Statistical Quality Control, appendix).
const (
	limitOfValues = 2.66
	limitOfRange  = 3.267
)

// Value is one case of a chart of values. Order is what it is sorted by, Case decides between equal ones.
type Value struct {
	Case, Day string
	Order     int64
	Value     float64
}

// Scope is a period by its first and last local date.
type Scope struct{ From, To string }

// Values makes the chart of single values above 0, eq. (10) to (12), up to the end of a period. Head carries key and names;
// frozen is the baseline that was kept, nil for none: then the first points before the period make one. Values that are
// not above 0 have no logarithm and are left out.
func Values(head Chart, values []Value, frozen *Baseline, in Scope, rules Rules) Chart {
	c := head
	c.Kind, c.Need = ValueAndRange, rules.BaselineLeast
	sorted := make([]Value, 0, len(values))
	for _, v := range values {
		switch {
		case v.Day > in.To:
		case v.Value > 0 && !math.IsInf(v.Value, 0):
			sorted = append(sorted, v)
		default:
			c.LeftOut++
		}
	}
	slices.SortFunc(sorted, func(a, b Value) int {
		return cmp.Or(cmp.Compare(a.Order, b.Order), cmp.Compare(a.Case, b.Case))
	})
	logs := make([]float64, len(sorted))
	days := make([]string, len(sorted))
	for i, v := range sorted {
		logs[i], days[i] = math.Log(v.Value), v.Day
	}
	c.Baseline, c.Have, c.Status = baselineOf(c.Key, ValueAndRange, logs, days, frozen, in, rules.BaselineLeast, rules)
	line := lineOf(c.Baseline, c.Status)
	if line.known {
		c.Centre, c.Lower, c.Upper = quantity.Some(math.Exp(line.centre)), quantity.Some(math.Exp(line.lower)), quantity.Some(math.Exp(line.upper))
		c.RangeUpper = quantity.Some(math.Exp(line.ranges))
	}
	for i, v := range sorted {
		p := Point{Day: v.Day, Case: v.Case, Value: v.Value, Rules: []string{}}
		if i > 0 {
			p.Range = quantity.Some(math.Exp(math.Abs(logs[i] - logs[i-1])))
		}
		c.Points = append(c.Points, p)
	}
	return c.judged(logs, line, in, rules)
}

// line is where the limits are, on the scale on which a chart is judged.
type line struct {
	known                        bool
	centre, lower, upper, ranges float64
}

// lineOf gives the limits of single values, eq. (11) and (12).
func lineOf(b *Baseline, s Status) line {
	if b == nil || s == NoSpread {
		return line{}
	}
	return line{
		known: true, centre: b.Centre,
		lower: b.Centre - limitOfValues*b.MovingRange, upper: b.Centre + limitOfValues*b.MovingRange,
		ranges: limitOfRange * b.MovingRange,
	}
}

// baselineOf gives the baseline of points in order: the frozen one, or one of the first points before the period, eq. (10).
// Have counts the points before the period.
func baselineOf(key string, kind Kind, at []float64, days []string, frozen *Baseline, in Scope, least int, rules Rules) (b *Baseline, have int, status Status) {
	for have < len(days) && days[have] < in.From {
		have++
	}
	switch {
	case frozen != nil:
		kept := *frozen
		kept.Frozen = true
		b, status = &kept, Frozen
	case have < least:
		return nil, have, Forming
	default:
		n := min(have, rules.BaselineMost)
		b = &Baseline{Key: key, Kind: kind, From: days[0], To: days[n-1], N: n, Centre: mean(at[:n]), MovingRange: meanRange(at[:n])}
		status = Proposed
		if n < rules.BaselineLeast {
			status = Provisional
		}
	}
	if b.MovingRange <= 0 {
		status = NoSpread
	}
	return b, have, status
}

func mean(at []float64) float64 {
	sum := 0.0
	for _, v := range at {
		sum += v
	}
	return sum / float64(len(at))
}

// meanRange gives the mean of the differences between one point and the next, 0 without any.
func meanRange(at []float64) float64 {
	if len(at) < 2 {
		return 0
	}
	sum := 0.0
	for i := 1; i < len(at); i++ {
		sum += math.Abs(at[i] - at[i-1])
	}
	return sum / float64(len(at)-1)
}
