package summary

import (
	"cmp"
	"slices"

	"afterbeam/internal/quantity"
	"afterbeam/internal/summary/statistic"
)

// Reasons for which something is withheld.
const (
	withheldFew        = "few-values"         // fewer values than Need
	withheldOperator   = "few-of-an-operator" // fewer cases of a class and complexity than Need
	withheldComplexity = "complexity-unknown"
	withheldZero       = "value-of-zero" // a ratio or a logarithm does without
	withheldSmall      = "small-group"   // nothing of it leaves the department
)

// tally counts cases of which something holds, does not hold, or cannot be told.
type tally struct{ x, n, unknown int }

func (t *tally) add(holds bool) {
	t.n++
	if holds {
		t.x++
	}
}

// proportion gives a share with its interval, eq. (5).
func (t tally) proportion() Proportion {
	p := Proportion{X: t.x, N: t.n, Unknown: t.unknown}
	if t.n > 0 {
		low, high := statistic.Wilson(t.x, t.n)
		p.Share, p.Low, p.High = quantity.Some(float64(t.x)/float64(t.n)), quantity.Some(low), quantity.Some(high)
	}
	return p
}

// leastShareChange is the fewest cases of either period at which the change of a share is given: one of one against none of
// one tells nothing. Judgement, as the median's.
const leastShareChange = 5

// against gives the share with its change from the period before, eq. (6).
func (t tally) against(before tally) Proportion {
	p := t.proportion()
	if min(t.n, before.n) >= leastShareChange {
		difference, low, high := statistic.ShareDifference(t.x, t.n, before.x, before.n)
		p.Change = &ShareChange{XBefore: before.x, NBefore: before.n, Difference: difference, Low: low, High: high}
	}
	return p
}

// tallied counts cases by a question that answers yes, no or unknown.
func tallied(cases []*Case, ask func(*Case) answer) tally {
	t := tally{}
	for _, c := range cases {
		t.count(ask(c))
	}
	return t
}

// answer is what a question about a case gives. A case that a question is not about is aside.
type answer int

const (
	aside answer = iota
	yes
	no
	unknown
)

func answered(holds bool) answer {
	if holds {
		return yes
	}
	return no
}

// reasonsOf gives how often each text came, the most frequent first, then by text.
func reasonsOf(count map[string]int) []Reason {
	out := []Reason{}
	for text, cases := range count {
		out = append(out, Reason{Text: text, Cases: cases})
	}
	slices.SortFunc(out, func(a, b Reason) int { return cmp.Or(cmp.Compare(b.Cases, a.Cases), cmp.Compare(a.Text, b.Text)) })
	return out
}

func (t *tally) count(a answer) {
	switch a {
	case yes:
		t.add(true)
	case no:
		t.add(false)
	case unknown:
		t.unknown++
	case aside:
	}
}
