package ask

import (
	"slices"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/quantity"
)

// Wanted is an ask that a case makes by the schedule.
type Wanted struct {
	Ask // without ID, Person and State
	Row Row
	// Because names the flags it rests on; none when it rests on the case or on a reaction.
	Because []Key
	// Held tells that all of these flags were settled: the ask is no longer made, and one that is open ends where the row says.
	Held bool
	// Missed tells that its day was past before it could be asked; Late that it got another day for that.
	Missed, Late bool
}

// Wanted gives the asks that a case makes, by slot, each slot once with its earliest day, in the order of their days. A case
// that lies further back than MostDays makes none, unless somebody saw a reaction.
func (s Schedule) Wanted(c Case) []Wanted {
	if c.Quality || c.Void {
		return nil
	}
	if c.Day == "" {
		c.Day = c.Today
	}
	c.Today = max(c.Today, c.Day) // nothing is asked before the procedure, whatever a clock says
	old := DaysBetween(c.Day, c.Today) > MostDays
	bySlot := map[string]int{}
	var all []Wanted
	for _, row := range s.Rows {
		because, held, ok := row.applies(c)
		if !ok || (old && !row.Grade.Present()) {
			continue
		}
		w := row.wanted(c)
		w.Because, w.Held = because, held
		at, there := bySlot[row.Slot]
		switch {
		case !there:
			bySlot[row.Slot] = len(all)
			all = append(all, w)
		case sooner(w, all[at]):
			all[at] = w
		}
	}
	slices.SortFunc(all, func(a, b Wanted) int { return Compare(a.Ask, b.Ask) })
	return all
}

// sooner tells whether a row's ask takes the place of another of its slot: one that stands before one that is settled or
// missed, and the earlier day.
func sooner(a, b Wanted) bool {
	if a.Held != b.Held {
		return !a.Held
	}
	if a.Missed != b.Missed {
		return !a.Missed
	}
	// What a reaction made stays when the flags go.
	if a.Row.Grade.Present() != b.Row.Grade.Present() {
		return a.Row.Grade.Present()
	}
	return a.Due < b.Due
}

// applies tells whether a row makes an ask of the case, by which flags, and whether all of them were settled.
func (r Row) applies(c Case) (because []Key, held, ok bool) {
	if least, is := r.Grade.Get(); is {
		seen, known := c.Grade.Get()
		return nil, false, known && seen >= least
	}
	if !r.enough(c) {
		return nil, false, false
	}
	if r.Meaning == ofCase {
		switch r.State {
		case "pregnant":
			return nil, false, c.Pregnant
		default:
			return nil, false, c.State.String() == r.State
		}
	}
	held = true
	for _, f := range c.inState(r.State) {
		if r.Meaning == anyMeaning || r.Meaning == f.Meaning {
			because = append(because, f.Key)
			held = held && f.Settled
		}
	}
	return because, held, len(because) > 0
}

func (c Case) inState(state string) []Flag {
	if state == level.Reached.String() {
		return c.Holding()
	}
	var all []Flag
	for _, f := range c.Flags {
		if f.State.String() == state {
			all = append(all, f)
		}
	}
	return all
}

// enough tells whether the case has the dose that the row wants, in either of the quantities.
func (r Row) enough(c Case) bool {
	if !r.Kerma.Present() && !r.PSD.Present() {
		return true
	}
	at := func(least quantity.Opt[quantity.Gray], q level.Quantity) bool {
		l, wanted := least.Get()
		v, known := c.most(q)
		return wanted && known && v >= l
	}
	return at(r.Kerma, level.Kerma) || at(r.PSD, level.PSD)
}

func (r Row) wanted(c Case) Wanted {
	start := map[string]string{fromProcedure: c.Day, fromFlag: c.Today, fromAnswer: c.GradeDay}[r.Count]
	w := Wanted{Row: r, Ask: Ask{Slot: r.Slot, Kind: r.Kind, Owner: r.Owner, Due: addDays(start, r.Due, r.Working), Text: r.Text, State: Open}}
	if r.HasFrom {
		w.From = addDays(start, r.From, r.Working)
	}
	if w.Due >= c.Today {
		return w
	}
	if late, ok := r.IfPast.Get(); ok {
		w.From, w.Due, w.Late = "", addDays(c.Today, int(late), r.Working), true
		return w
	}
	w.Missed = true
	return w
}
