package statistic

import "math"

// deviate is the standard normal deviate of a two-sided 95 % interval.
const deviate = 1.959963984540054

// Wilson gives the 95 % score interval of a share x of n, eq. (5), as fractions of 1. There has to be an n above 0, and
// x between 0 and n. Source: Wilson 1927 J Am Stat Assoc 22:209; Newcombe 1998 Stat Med 17:857, method 3 (memory).
func Wilson(x, n int) (low, high float64) {
	k, m := float64(x), float64(n)
	p, z2 := k/m, deviate*deviate
	middle := (2*k + z2) / (2 * (m + z2))
	half := deviate * math.Sqrt(z2+4*k*(1-p)) / (2 * (m + z2))
	low, high = max(middle-half, 0), min(middle+half, 1)
	if x == 0 {
		low = 0
	}
	if x == n {
		high = 1
	}
	return low, high
}

// ShareDifference gives a share x of n less another, and its 95 % interval, eq. (6). Both n have to be above 0.
// Source: Newcombe 1998 Stat Med 17:873, method 10 (memory).
func ShareDifference(x, n, xBefore, nBefore int) (difference, low, high float64) {
	now, before := float64(x)/float64(n), float64(xBefore)/float64(nBefore)
	nowLow, nowHigh := Wilson(x, n)
	beforeLow, beforeHigh := Wilson(xBefore, nBefore)
	difference = now - before
	low = difference - math.Hypot(now-nowLow, beforeHigh-before)
	high = difference + math.Hypot(nowHigh-now, before-beforeLow)
	return difference, low, high
}
