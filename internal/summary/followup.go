package summary

import (
	"cmp"
	"maps"
	"slices"
)

// looked tells whether somebody saw the skin after a case, or heard what it looks like.
func looked(c *Case) bool {
	return len(c.Reactions) > 0 || slices.ContainsFunc(c.Asks, func(a Ask) bool { return a.Outcome == outcomeSeen })
}

const outcomeSeen = "seen"

// asked gives what became of the asks of a kind of a case that reached a follow-up level: yes where done holds for one, no
// where one is due without, aside before, unknown where nobody was asked.
func (w *work) asked(kind string, done func(*Case, Ask) bool) func(*Case) answer {
	return func(c *Case) answer {
		if substantialOf(c) != yes {
			return aside
		}
		result := unknown
		for _, a := range c.Asks {
			switch {
			case a.Kind != kind:
			case done(c, a):
				return yes
			case a.State == AskAnswered || a.State == AskOpen && a.Due < w.in.AsOf:
				result = no
			case result == unknown:
				result = aside
			}
		}
		return result
	}
}

func (w *work) followUp() FollowUp {
	informed := w.asked(AskInform, func(_ *Case, a Ask) bool { return a.State == AskAnswered })
	contacted := w.asked(AskMonthCheck, func(_ *Case, a Ask) bool {
		return a.State == AskAnswered && a.Outcome != outcomeNotReached && a.AnsweredOn != "" && a.AnsweredOn <= a.Due
	})
	outcome := w.asked(AskMonthCheck, func(c *Case, _ Ask) bool { return looked(c) })
	f := FollowUp{
		Informed:  tallied(w.now, informed).against(tallied(w.before, informed)),
		Contacted: tallied(w.now, contacted).against(tallied(w.before, contacted)),
		Outcome:   tallied(w.now, outcome).against(tallied(w.before, outcome)),
		Kinds:     w.askKinds(),
	}
	for _, c := range w.now {
		if substantialOf(c) == yes && contacted(c) == aside {
			f.ContactNotYetDue++
		}
	}
	f.Open = w.openAsks()
	f.Ageing = ageingOf(f.Open)
	return f
}

const outcomeNotReached = "not-reached"

// askKinds counts what became of the asks of the period's cases, in the order of their names.
func (w *work) askKinds() []AskKind {
	kinds := map[string]*AskKind{}
	for _, c := range w.now {
		for _, a := range c.Asks {
			k := kinds[a.Kind]
			if k == nil {
				k = &AskKind{Kind: a.Kind}
				kinds[a.Kind] = k
			}
			k.Total++
			switch {
			case a.State == AskAnswered && a.AnsweredOn != "" && a.AnsweredOn <= a.Due:
				k.InTime++
			case a.State == AskAnswered:
				k.Late++
			case a.State != AskOpen:
				k.Dropped++
			case a.Due < w.in.AsOf:
				k.Overdue++
			default:
				k.Open++
			}
		}
	}
	out := []AskKind{}
	for _, name := range slices.Sorted(maps.Keys(kinds)) {
		k := kinds[name]
		k.Answered = tally{x: k.InTime + k.Late, n: k.InTime + k.Late + k.Overdue}.proportion()
		out = append(out, *k)
	}
	return out
}

// openAsks lists what is open of every case up to the end of the period, what is due first first.
func (w *work) openAsks() []AskLine {
	out := []AskLine{}
	for _, c := range w.all {
		if c.Day > w.in.Period.To {
			break // in order of days
		}
		for _, a := range c.Asks {
			if a.State != AskOpen {
				continue
			}
			overdue, _ := daysBetween(a.Due, w.in.AsOf)
			out = append(out, AskLine{
				Case: c.ID, Day: c.Day, Class: classOf(c.Class), Title: titleOf(c.Class), Room: c.Room,
				Kind: a.Kind, Owner: a.Owner, Due: a.Due, Overdue: overdue,
			})
		}
	}
	slices.SortStableFunc(out, func(a, b AskLine) int {
		return cmp.Or(cmp.Compare(a.Due, b.Due), cmp.Compare(a.Case, b.Case), cmp.Compare(a.Kind, b.Kind))
	})
	return out
}

// ageingOf counts what is open by how long it is overdue. The bands are judgement.
func ageingOf(open []AskLine) []Age {
	bands := []Age{{0, 0, 0}, {1, 7, 0}, {8, 30, 0}, {31, 90, 0}, {91, 0, 0}}
	for _, a := range open {
		at := 0
		for i, b := range bands {
			if b.From > 0 && a.Overdue >= b.From {
				at = i
			}
		}
		bands[at].Asks++
	}
	return bands
}

// reactions lists what was seen on the skin of the period's cases, and what was seen in the period of others.
func (w *work) reactions() Reactions {
	r := Reactions{Rows: []ReactionLine{}}
	sight, seen := tally{}, tally{}
	for _, c := range w.now {
		if substantialOf(c) != yes {
			continue
		}
		sight.add(looked(c))
		if looked(c) {
			seen.add(worstOf(c) > 0)
		}
	}
	r.Looked, r.Seen = sight.proportion(), seen.proportion()
	for _, c := range w.all {
		for _, one := range c.Reactions {
			if one.Grade > 0 && (w.in.Period.Holds(c.Day) || w.in.Period.Holds(one.Day)) {
				days, _ := daysBetween(c.Day, one.Day)
				r.Rows = append(r.Rows, ReactionLine{Case: lineOf(c), Seen: one.Day, Grade: one.Grade, Place: one.Place, Days: days})
			}
		}
	}
	slices.SortStableFunc(r.Rows, func(a, b ReactionLine) int {
		return cmp.Or(cmp.Compare(a.Seen, b.Seen), cmp.Compare(a.Case.ID, b.Case.ID), cmp.Compare(b.Grade, a.Grade), cmp.Compare(a.Place, b.Place))
	})
	return r
}

// worstOf gives the worst grade that was seen after a case, 0 where none was.
func worstOf(c *Case) int {
	worst := 0
	for _, one := range c.Reactions {
		worst = max(worst, one.Grade)
	}
	return worst
}
