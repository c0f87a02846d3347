package reference

import "afterbeam/internal/quantity"

// Compare says where the median of a group lies against a level, eq. (18). Low is the lower end of the median's interval,
// without which no median is firmly above. A median at the level is not above.
func Compare(median float64, low quantity.Opt[float64], l Level) Verdict {
	p25, hasP25 := l.P25.Get()
	p50, hasP50 := l.P50.Get()
	bound, hasBound := low.Get()
	switch {
	case median > l.Value && hasBound && bound > l.Value:
		return Above
	case median > l.Value:
		return PossiblyAbove
	case hasP25 && median < p25:
		return BelowP25
	case hasP50 && median > p50:
		return Between
	}
	return NotAbove
}
