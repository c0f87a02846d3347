// Package reference has reference levels and published distributions as data, and says where a median lies against them.
//
// A reference level is about the median of a group. It is no limit, and never about a single patient.
package reference

import "afterbeam/internal/quantity"

// Level is a published reference level of one quantity.
type Level struct {
	ID string `json:"id"`
	// Country is where it is from, Procedure what its source calls it.
	Country   string `json:"country"`
	Procedure string `json:"procedure"`
	// Class is the class of the lexicon whose median is held against it, "" where none fits; Complexity and Mount (fixed or
	// mobile) limit to such cases of the class, "" is all.
	Class      string `json:"class"`
	Complexity string `json:"complexity"`
	Mount      string `json:"mount"`
	// Fit is close, or part where class and source are not about quite the same procedures; none without a class.
	Fit string `json:"fit"`
	// Quantity is kap_gy_cm2, kar_gy, ft_min or images; Value is in its unit. P25 and P50 are there where published.
	Quantity string                `json:"quantity"`
	Unit     string                `json:"unit"`
	Value    float64               `json:"value"`
	P25      quantity.Opt[float64] `json:"p25"`
	P50      quantity.Opt[float64] `json:"p50"`
	// Kind is drl, p75-of-medians, p75-of-cases, reference-level, proposed or local-p75.
	Kind   string `json:"kind"`
	Year   int    `json:"year"`
	Source string `json:"source"`
	Known  string `json:"known"` // read, memory
	Note   string `json:"note"`
}

// Distribution is a published distribution of cases. It is no reference level.
type Distribution struct {
	ID         string            `json:"id"`
	Procedure  string            `json:"procedure"`
	Class      string            `json:"class"`
	Complexity string            `json:"complexity"`
	Fit        string            `json:"fit"`
	Quantity   string            `json:"quantity"`
	Unit       string            `json:"unit"`
	N          quantity.Opt[int] `json:"n"`
	P25        float64           `json:"p25"`
	P50        float64           `json:"p50"`
	P75        float64           `json:"p75"`
	Year       int               `json:"year"`
	Source     string            `json:"source"`
	Known      string            `json:"known"`
}

// Verdict says where a median lies against a reference level.
type Verdict string

// The verdicts, the one that asks for most first.
const (
	Above         Verdict = "above"          // firmly: the interval of the median lies above the level
	PossiblyAbove Verdict = "possibly-above" // the median does, its interval reaches down to the level
	Between       Verdict = "between"        // above the published median and not above the level
	NotAbove      Verdict = "not-above"
	BelowP25      Verdict = "below-p25" // look at image quality
)
