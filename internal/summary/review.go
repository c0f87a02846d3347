package summary

import (
	"slices"

	"afterbeam/internal/summary/trend"
)

// Why a case is on the list for review.
const (
	whyFollowUp = "follow-up-level"
	whyReaction = "reaction"
	whyChart    = "above-chart"
	whyAsked    = "asked"
	whyCarried  = "carried"
)

// review lists the cases that colleagues look at: those that reached a follow-up level, with a reaction, above the limit of
// a control chart, or that somebody put there; and those of before that are still pending. No number decides a state.
func (w *work) review(charts []trend.Chart) ReviewList {
	above := map[string]bool{}
	for _, c := range charts {
		for _, p := range c.Points {
			if c.Kind == trend.ValueAndRange && slices.Contains(p.Rules, trend.OutsideHigh) {
				above[p.Case] = true
			}
		}
	}
	list := ReviewList{States: []Reason{}, Rows: []ReviewLine{}}
	count := map[ReviewState]int{}
	for _, c := range w.all {
		why := []string{}
		switch {
		case w.in.Period.Holds(c.Day):
			why = reviewedFor(c, above[c.ID])
		case c.Day < w.in.Period.From && c.Review.State == ReviewPending:
			why = append(why, whyCarried)
		}
		if len(why) == 0 {
			continue
		}
		state := c.Review.State
		if state == ReviewNone {
			state = ReviewPending
		}
		count[state]++
		list.Rows = append(list.Rows, ReviewLine{Case: lineOf(c), Why: why, State: state, Day: c.Review.Day})
	}
	for _, state := range ReviewStates() {
		list.States = append(list.States, Reason{Text: string(state), Cases: count[state]})
	}
	return list
}

func reviewedFor(c *Case, aboveChart bool) []string {
	why := []string{}
	if substantialOf(c) == yes {
		why = append(why, whyFollowUp)
	}
	if worstOf(c) > 0 {
		why = append(why, whyReaction)
	}
	if aboveChart {
		why = append(why, whyChart)
	}
	if len(why) == 0 && c.Review.State != ReviewNone {
		why = append(why, whyAsked)
	}
	return why
}
