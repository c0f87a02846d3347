package statistic

import "afterbeam/internal/quantity"

// Type is a definition of the sample percentile.
type Type int

// The definitions, numbered as Hyndman and Fan 1996 (Am Stat 50:361) do.
const (
	Type6 Type = 6 // the value at place p(n+1)
	Type7 Type = 7 // the value at place 1 + p(n-1)
)

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
