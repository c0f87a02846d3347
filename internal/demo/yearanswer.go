package demo

import (
	"hash/fnv"
	"time"

	"afterbeam/internal/followup/ask"
	"afterbeam/internal/quantity"
)

// Reply is what the invented people of the centre say to an ask, and the day on which they do; ok is false when they never do.
// Most answer in time, some late, a few not at all. The same ask gets the same reply.
func (c YearCase) Reply(a ask.Ask) (said ask.Answer, on string, ok bool) {
	luck, again := c.luck(a.Slot, "when"), c.luck(a.Slot, "how late")
	due, err := time.Parse(time.DateOnly, a.Due)
	if err != nil {
		return said, "", false
	}
	day := due
	if from, err := time.Parse(time.DateOnly, a.From); err == nil {
		day = from.AddDate(0, 0, int(due.Sub(from).Hours()/24*again))
	}
	h := habitOf(a.Kind)
	seen, reaction := c.reactions[a.Slot]
	switch {
	case reaction:
	case luck < h.never:
		return said, "", false
	case luck < h.never+h.late:
		day = due.AddDate(0, 0, 1+int(again*h.days))
	}
	on = day.Format(time.DateOnly)
	said = ask.Answer{Outcome: ask.Done, Day: on, Note: "invented for the demonstration"}
	switch {
	case a.Kind == ask.Refer, !a.Kind.LooksAtSkin():
	case !reaction && luck > 1-h.lost:
		said.Outcome, said.Final, said.Note = ask.NotReached, true, "called three times, moved away (invented)"
	default:
		said.Outcome, said.Grade = ask.Seen, quantity.Some(seen)
		if seen > 0 {
			said.Place = "back (invented)"
		}
	}
	return said, on, true
}

// habit is how people deal with a kind of ask: shares that are late, by so many days, that never answer, and whose patient is lost.
type habit struct{ late, days, never, lost float64 }

// habitOf gives the habits of the centre; all invented.
func habitOf(k ask.Kind) habit {
	switch k {
	case ask.Record, ask.Inform:
		return habit{late: 0.16, days: 6, never: 0.03}
	case ask.Review, ask.Clarify:
		return habit{late: 0.35, days: 12, never: 0.1}
	case ask.EarlyCheck, ask.Examination:
		return habit{late: 0.2, days: 9, never: 0.12}
	case ask.MonthCheck, ask.LateCheck:
		return habit{late: 0.22, days: 20, never: 0.06, lost: 0.05}
	case ask.Refer, ask.RiskManagement:
	}
	return habit{}
}

// Settles tells whether a physicist settles the flags of the case once everything asked is answered.
func (c YearCase) Settles() bool { return c.luck("flag", "settles") < 0.7 }

// luck is a number from 0 to below 1 that belongs to a case and a question.
func (c YearCase) luck(parts ...string) float64 {
	h := fnv.New64a()
	for _, p := range append([]string{c.scene.accession}, parts...) {
		_, _ = h.Write([]byte(p + "\x00")) // a hash takes everything
	}
	const half = 1 << 32
	return float64(h.Sum64()*0x9e3779b97f4a7c15>>32) / half
}
