package statistic

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// LeastForChange is the least number of values of either group at which the interval of a ratio of medians is given.
// Judgement: from 10 on the small-number rules show an interval of the median.
const LeastForChange = 10

// PercentChange gives by how many percent a value differs from the one before.
func PercentChange(before, now float64) float64 { return (now/before - 1) * 100 }

// MedianRatio gives the 95 % interval of the ratio of two medians of sorted values above 0, eq. (7) to (9): normal on the
// logarithm, its variance from order statistics. ok is false below LeastForChange values and where a value is not above 0.
// Source: Price and Bonett 2002 J Stat Comput Simul 72:119 (memory).
func MedianRatio(now, before []float64) (low, high float64, ok bool) {
	if min(len(now), len(before)) < LeastForChange || now[0] <= 0 || before[0] <= 0 {
		return 0, 0, false
	}
	centre := math.Log(Type7.Of(now, 0.5) / Type7.Of(before, 0.5))
	half := deviate * math.Sqrt(logMedianVariance(now)+logMedianVariance(before))
	return math.Exp(centre - half), math.Exp(centre + half), true
}

// logMedianVariance estimates the variance of the logarithm of a median, eq. (8) and (9).
func logMedianVariance(sorted []float64) float64 {
	n := len(sorted)
	rank := max(int(math.Round(float64(n+1)/2-math.Sqrt(float64(n)))), 1)
	outside := distuv.Binomial{N: float64(n), P: 0.5}.CDF(float64(rank - 1))
	z := distuv.UnitNormal.Quantile(1 - outside)
	spread := math.Log(sorted[n-rank] / sorted[rank-1])
	return (spread / (2 * z)) * (spread / (2 * z))
}
