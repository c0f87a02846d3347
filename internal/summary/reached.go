package summary

import (
	"cmp"
	"math"
	"slices"

	"afterbeam/internal/quantity"
)

// substantialOf tells whether a case reached a follow-up level. One whose state is not known is not below.
func substantialOf(c *Case) answer {
	for _, f := range c.Flags {
		if reachedLevel(f, true) {
			return yes
		}
	}
	if c.State == StateUnknown || c.State == "" {
		return unknown
	}
	return no
}

// reachedLevel tells whether a flag is of a follow-up level that was reached, by the case alone or over a window.
func reachedLevel(f Flag, alone bool) bool {
	return f.State == StateReached && f.Meaning == MeaningFollowUp && (f.Scope == ScopeCase) == alone
}

// crossings counts how many cases passed each step of reference air kerma, at least the first three steps.
func (w *work) crossings() []Crossing {
	now, before := peaksOf(w.now), peaksOf(w.before)
	out := []Crossing{}
	for i := range mostCrossings {
		level := float64(w.settings.CrossingFrom) + float64(i)*float64(w.settings.CrossingStep)
		t := now.at(level)
		if i >= leastCrossings && t.x == 0 {
			break
		}
		one := Crossing{Level: level, Cases: t.against(before.at(level)), Source: w.settings.CrossingSource}
		if share, ok := one.Cases.Share.Get(); ok {
			one.Per100 = quantity.Some(share * 100)
		}
		out = append(out, one)
	}
	return out
}

// peaks are the values of reference air kerma of some cases, sorted: whole ones, and parts, which are lower bounds.
type peaks struct {
	whole, part []float64
	cases       int
}

// peaksOf takes the higher of each value as displayed and times the signed factor; what is not believed is in neither.
func peaksOf(cases []*Case) peaks {
	p := peaks{cases: len(cases)}
	for _, c := range cases {
		kerma, known := c.Kerma.Get()
		if factor, signed := c.KermaFactor.Get(); signed && factor > 1 {
			kerma *= quantity.Gray(factor)
		}
		switch {
		case !known || c.KermaDoubt == DoubtSuspect || math.IsNaN(float64(kerma)):
		case c.KermaDoubt == DoubtPart:
			p.part = append(p.part, float64(kerma))
		default:
			p.whole = append(p.whole, float64(kerma))
		}
	}
	slices.Sort(p.whole)
	slices.Sort(p.part)
	return p
}

// at counts the cases at or above a level. A part that is above passes; one that is not, is not known to be below.
func (p peaks) at(level float64) tally {
	whole, _ := slices.BinarySearch(p.whole, level)
	part, _ := slices.BinarySearch(p.part, level)
	passed := len(p.part) - part
	t := tally{x: len(p.whole) - whole + passed, n: len(p.whole) + passed}
	t.unknown = p.cases - t.n
	return t
}

func (w *work) substantial() Substantial {
	s := Substantial{Rate: tallied(w.now, substantialOf).against(tallied(w.before, substantialOf)), ByQuantity: []Reason{}}
	s.Unknown = s.Rate.Unknown
	by := map[string]int{}
	for _, c := range w.now {
		near := false
		quantities := []string{}
		for _, f := range c.Flags {
			near = near || f.State == StateNear && f.Scope == ScopeCase && f.Meaning == MeaningFollowUp
			if reachedLevel(f, true) && !slices.Contains(quantities, f.Quantity) {
				quantities = append(quantities, f.Quantity)
				by[f.Quantity]++
			}
		}
		if near && substantialOf(c) == no {
			s.Near++
		}
	}
	s.ByQuantity = reasonsOf(by)
	s.Cases = linesOf(w.now, func(c *Case) bool { return substantialOf(c) == yes })
	return s
}

// cumulative lists the levels that sums over windows reached, each with its patients.
func (w *work) cumulative() []Cumulative {
	type key struct{ window, scheme, level, quantity string }
	found, people := map[key]*Cumulative{}, map[key]map[string]bool{}
	for _, c := range w.now {
		for _, f := range c.Flags {
			if !reachedLevel(f, false) {
				continue
			}
			k := key{f.Scope, f.Scheme, f.Level, f.Quantity}
			size, unit := sizeOfUnit(f.Quantity)
			if found[k] == nil {
				found[k] = &Cumulative{Window: f.Scope, Scheme: f.Scheme, Level: f.Level, Quantity: f.Quantity, Unit: unit, Cases: []string{}}
				people[k] = map[string]bool{}
			}
			one := found[k]
			value, known := f.Value.Get()
			if largest, any := one.Largest.Get(); known && (!any || value/size > largest) {
				one.Largest, one.LevelValue = quantity.Some(value/size), quantity.None[float64]()
				if level, ok := f.LevelValue.Get(); ok {
					one.LevelValue = quantity.Some(level / size)
				}
			}
			one.Cases = append(one.Cases, c.ID)
			people[k][cmp.Or(c.Patient, "case "+c.ID)] = true
		}
	}
	out := []Cumulative{}
	for k, one := range found {
		one.Patients = len(people[k])
		out = append(out, *one)
	}
	slices.SortFunc(out, func(a, b Cumulative) int {
		return cmp.Or(cmp.Compare(a.Window, b.Window), cmp.Compare(a.Quantity, b.Quantity), cmp.Compare(a.Scheme, b.Scheme), cmp.Compare(a.Level, b.Level))
	})
	return out
}

// sizeOfUnit gives the unit in which a level's quantity is printed and its size in the canonical unit.
func sizeOfUnit(of string) (size float64, unit string) {
	switch of {
	case "kap":
		return float64(quantity.GraySquareCentimetre), "Gy.cm2"
	case "ft":
		return float64(quantity.Minute), "min"
	}
	return 1, "Gy"
}
