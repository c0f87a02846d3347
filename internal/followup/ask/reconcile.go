package ask

import "slices"

// Held is an ask that a case has, with whether the flags it rests on still hold.
type Held struct {
	Ask
	// Holds is false for an open ask that was kept although its flags no longer hold.
	Holds bool
}

// Event says what happened to an ask or a flag; the words of its history.
type Event string

// The events of asks.
const (
	Made      Event = "made"
	Moved     Event = "moved"       // its days changed with the day of the procedure
	Closed    Event = "superseded"  // its flags no longer hold
	Ended     Event = "settled"     // its flags were settled
	Kept      Event = "kept"        // its flags no longer hold, or were settled, and the schedule keeps it
	Reopened  Event = "reopened"    // its flags hold again
	Told      Event = "answered"    // somebody answered
	Tried     Event = "attempt"     // somebody tried, and it stays open
	Corrected Event = "corrected"   // an answer was put right
	Handed    Event = "handed over" // to another person
	Escalated Event = "escalated"   // it is overdue and somebody else was told
)

// Change is what is to be done to one ask of a case.
type Change struct {
	Event Event
	// Ask is as it is to be, with its ID where it is there already.
	Ask Ask
	// Holds is what Held.Holds becomes.
	Holds  bool
	Wanted Wanted // of Made, Moved and Reopened
}

// Reconcile compares the asks that a case has with those it makes now. What is answered stays as it is. An open ask whose
// flags no longer hold, or were settled, ends only where the schedule says so. Running it again on its result changes nothing.
func (s Schedule) Reconcile(have []Held, wanted []Wanted) []Change {
	var all []Change
	bySlot := map[string]Wanted{}
	for _, w := range wanted {
		bySlot[w.Slot] = w
	}
	for _, h := range have {
		w, is := bySlot[h.Slot]
		if one, changed := s.change(h, w, is); changed {
			all = append(all, one)
		}
	}
	for _, w := range wanted {
		there := slices.ContainsFunc(have, func(h Held) bool { return h.Slot == w.Slot })
		if !there && !w.Held && !w.Missed {
			all = append(all, Change{Event: Made, Ask: w.Ask, Holds: true, Wanted: w})
		}
	}
	return all
}

// change gives what is to be done to one ask that a case has; w is what the schedule wants in its slot, if it wants anything.
func (s Schedule) change(h Held, w Wanted, is bool) (Change, bool) {
	stands := is && !w.Held
	switch {
	case h.State == Answered:
		return Change{}, false
	case stands:
		return again(h, w)
	case h.State == Open && h.Holds:
		return s.end(h, is)
	}
	return Change{}, false
}

// again gives what is to be done to an ask that is wanted: it is opened again, gets other days, or stays as it is.
func again(h Held, w Wanted) (Change, bool) {
	c := Change{Ask: h.Ask, Holds: true, Wanted: w}
	moved := w.Row.Count == fromProcedure && !w.Late && (h.Due != w.Due || h.From != w.From)
	sooner := w.Due < h.Due // a higher dose wants it sooner
	switch {
	case h.State != Open && w.Missed:
		return c, false
	case h.State != Open:
		c.Event, c.Ask.State = Reopened, Open
		c.take(w)
	case !w.Missed && (moved || sooner):
		c.Event = Moved
		c.take(w)
	case !h.Holds:
		c.Event = Reopened
	default:
		return c, false
	}
	return c, true
}

// take gives the ask the days and words that are wanted now.
func (c *Change) take(w Wanted) { c.Ask.From, c.Ask.Due, c.Ask.Text = w.From, w.Due, w.Text }

// end closes an open ask, or keeps it, as the schedule says. A row that is no longer in the schedule keeps it.
func (s Schedule) end(h Held, settled bool) (Change, bool) {
	c := Change{Event: Kept, Ask: h.Ask}
	closes := false
	for _, row := range s.Rows {
		if row.Slot != h.Slot || row.Grade.Present() {
			continue
		}
		closes = row.CloseSuperseded
		if settled {
			closes = row.CloseSettled
		}
	}
	switch {
	case closes && settled:
		c.Event, c.Ask.State = Ended, Settled
	case closes:
		c.Event, c.Ask.State = Closed, Superseded
	}
	return c, true
}
