package notice

import (
	"slices"
	"time"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/quantity"
)

// Kind is why a notice is sent.
type Kind string

// The kinds.
const (
	First    Kind = "case"     // the first notice of a case
	Complete Kind = "complete" // a case that was told while it was provisional is complete
	Amend    Kind = "amended"  // a level that was told no longer holds, or one is new
	Broken   Kind = "alarm"    // notices do not get through
)

// Notice is what is to be told of a case.
type Notice struct {
	Kind    Kind
	Content Content
	// Rank is the highest of what is told now and, where that no longer holds, of what was told before: who was told of a flag
	// is told that it is gone.
	Rank Rank
	// Urgent tells that a follow-up level is newly reached: the notice waits for no hour of the day.
	Urgent bool
}

// Next decides whether a case has something to tell beside what the last notice of it said. A provisional case is told only
// once it reaches a follow-up level; a test object never.
func Next(told quantity.Opt[Content], now Content, why string) (Notice, bool) {
	if now.Flag == level.NoFlag.String() {
		return Notice{}, false
	}
	n := Notice{Content: now, Rank: now.Rank()}
	before, known := told.Get()
	if !known {
		n.Kind, n.Urgent = First, n.Rank == FollowUp
		return n, now.State != provisional || n.Urgent
	}
	change := Amended{New: lacking(now.reached(), before.reached()), Gone: lacking(before.reached(), now.reached()), Why: why}
	if len(change.New)+len(change.Gone) == 0 {
		n.Kind = Complete
		return n, before.State == provisional && now.State != provisional
	}
	for _, l := range change.New {
		n.Urgent = n.Urgent || l.Rank == FollowUp
	}
	if now.State == provisional && !n.Urgent && len(change.Gone) == 0 {
		return Notice{}, false
	}
	for _, l := range change.Gone {
		n.Rank = max(n.Rank, l.Rank)
	}
	n.Kind, n.Content.Amended = Amend, &change
	return n, true
}

const provisional = "provisional"

// lacking gives the levels of one list whose keys another has not.
func lacking(list, other []Level) []Level {
	out := []Level{}
	for _, l := range list {
		if !slices.ContainsFunc(other, func(o Level) bool { return o.Key() == l.Key() }) {
			out = append(out, l)
		}
	}
	return out
}

// Late tells whether a case is too old for its first notice: what a back-fill brings in was years ago. One that arrives late by
// itself is told whatever its age.
func Late(date string, now time.Time, mostDays int, backfill bool) bool {
	d, ok := day(date)
	return backfill && ok && now.Sub(d) > time.Duration(mostDays)*24*time.Hour
}
