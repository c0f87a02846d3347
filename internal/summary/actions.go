package summary

import (
	"cmp"
	"slices"
	"time"
)

// How an action stands.
const (
	actionNew     = "new"
	actionCarried = "carried"
	actionOverdue = "overdue"
	actionClosed  = "closed"
)

// actions lists those agreed in the period or before it that were not closed before it, the oldest first.
func (w *work) actions() []ActionLine {
	out := []ActionLine{}
	for _, a := range w.in.Actions {
		closed := a.Closed != "" && a.Closed <= w.in.AsOf
		if a.Opened > w.in.Period.To && !w.in.Period.Holds(a.Opened) && a.Period != w.in.Period.Name || closed && a.Closed < w.in.Period.From {
			continue
		}
		l := ActionLine{Action: a}
		if a.Opened < w.in.Period.From && a.Period != w.in.Period.Name {
			l.Carried = monthsBetween(a.Opened, w.in.Period.To)
		}
		switch {
		case closed:
			l.Standing = actionClosed
		case a.Due != "" && a.Due < w.in.AsOf:
			l.Standing = actionOverdue
		case l.Carried > 0:
			l.Standing = actionCarried
		default:
			l.Standing = actionNew
		}
		out = append(out, l)
	}
	slices.SortStableFunc(out, func(a, b ActionLine) int { return cmp.Or(cmp.Compare(a.Opened, b.Opened), cmp.Compare(a.ID, b.ID)) })
	return out
}

// monthsBetween counts the months from that of one date to that of another.
func monthsBetween(from, to string) int {
	a, errA := time.Parse(time.DateOnly, from)
	b, errB := time.Parse(time.DateOnly, to)
	if errA != nil || errB != nil {
		return 0
	}
	return 12*(b.Year()-a.Year()) + int(b.Month()) - int(a.Month())
}
