package statistic

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"afterbeam/internal/quantity"
)

// Type is a definition of the sample percentile.
type Type int

// The definitions, numbered as Hyndman and Fan 1996 (Am Stat 50:361) do.
const (
	Type6 Type = 6 // the value at place p(n+1)
	Type7 Type = 7 // the value at place 1 + p(n-1)
)

// Confidence is that of every interval of a summary, two-sided with equal tails.
const Confidence = 0.95

const tail = (1 - Confidence) / 2

// ErrType marks a definition of the percentile that is none of ours.
var ErrType = errors.New("percentile type not known")

// ParseType reads 6 or 7.
func ParseType(name string) (Type, error) {
	switch name {
	case "6":
		return Type6, nil
	case "7":
		return Type7, nil
	}
	return 0, fmt.Errorf("%w: want 6 or 7", ErrType)
}

// String names the definition with its place among n values in order.
func (t Type) String() string {
	if t == Type6 {
		return "type 6, place p(n+1)"
	}
	return "type 7, place 1+p(n-1)"
}

// Of gives the percentile p, a fraction of 1, of sorted values, eq. (1) and (2): linear between neighbours, the first or
// the last value beyond them. There has to be a value.
func (t Type) Of(sorted []float64, p float64) float64 {
	n := float64(len(sorted))
	place := p * (n - 1)
	if t == Type6 {
		place = p*(n+1) - 1
	}
	place = min(max(place, 0), n-1)
	below := math.Floor(place)
	i := int(below)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (place-below)*(sorted[i+1]-sorted[i])
}

// Quantile is a percentile with its interval.
type Quantile struct {
	Percent int     `json:"percent"`
	Value   float64 `json:"value"`
	// Low and High are the order statistics of the ranks, which hold the percentile of the population with probability
	// Coverage; absent where no two-sided 95 % interval exists.
	Low      quantity.Opt[float64] `json:"low"`
	High     quantity.Opt[float64] `json:"high"`
	LowRank  int                   `json:"low_rank"`
	HighRank int                   `json:"high_rank"`
	Coverage quantity.Opt[float64] `json:"coverage"`
	// Need is the least number of values at which the interval exists.
	Need int `json:"need"`
}

// QuantileOf gives a percentile of sorted values with its interval. There has to be a value.
func QuantileOf(sorted []float64, percent int, t Type) Quantile {
	p := float64(percent) / 100
	q := Quantile{Percent: percent, Value: t.Of(sorted, p), Need: LeastForInterval(p)}
	low, high, coverage, ok := Ranks(len(sorted), p)
	if !ok {
		return q
	}
	q.Low, q.High = quantity.Some(sorted[low-1]), quantity.Some(sorted[high-1])
	q.LowRank, q.HighRank, q.Coverage = low, high, quantity.Some(coverage)
	return q
}

// Ranks gives the order statistics, counted from 1, between which the percentile p of the population lies with at least
// 95 %, at most 2.5 % on either side, eq. (3); ok is false where n is too small. It holds for any continuous distribution.
func Ranks(n int, p float64) (low, high int, coverage float64, ok bool) {
	if n < LeastForInterval(p) {
		return 0, 0, 0, false
	}
	below := distuv.Binomial{N: float64(n), P: p}
	// The lower rank is the largest r with P(B <= r-1) <= 2.5 %, the upper the smallest s with P(B >= s) <= 2.5 %.
	low = firstWhere(n, func(r int) bool { return below.CDF(float64(r)) > tail })
	above := distuv.Binomial{N: float64(n), P: 1 - p}
	high = n + 1 - firstWhere(n, func(r int) bool { return above.CDF(float64(r)) > tail })
	return low, high, 1 - below.CDF(float64(low-1)) - above.CDF(float64(n-high)), true
}

// LeastForInterval gives the least number of values at which the interval of a percentile exists, eq. (4): the smaller
// of p^n and (1-p)^n decides, and has to be at most 2.5 %.
func LeastForInterval(p float64) int {
	return int(math.Ceil(math.Log(tail) / math.Log(max(p, 1-p))))
}

// firstWhere gives the first of 0 to n-1 at which a condition that stays once it holds does so, or n.
func firstWhere(n int, holds func(int) bool) int {
	from, to := 0, n
	for from < to {
		middle := (from + to) / 2
		if holds(middle) {
			to = middle
		} else {
			from = middle + 1
		}
	}
	return from
}
