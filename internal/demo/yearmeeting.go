package demo

import (
	"afterbeam/internal/summary"
)

// Meeting is a day on which the people of the centre look at the month before. Everything in it is invented.
type Meeting struct {
	Day    string
	Period string
	// Agreed are the actions of that day.
	Agreed []Agreed
	// Freezes tells that the baselines of the control charts are kept from then on.
	Freezes bool
}

// Agreed is an action: what is to be done in a room ("" is everywhere), who does it, by when, and how it ended; Ends is "" for one
// that is open.
type Agreed struct {
	Room, Text, Owner, Due string
	Ends, Outcome          string
}

// Meetings gives the meetings of the year in order of their day.
func Meetings() []Meeting {
	return []Meeting{
		{Day: "2025-12-03", Period: "2025-11"},
		{Day: "2026-01-07", Period: "2025-12"},
		{Day: "2026-02-04", Period: "2026-01", Agreed: []Agreed{{
			Text: "Have height and weight entered before the first pulse (synthetic)", Owner: "Radiographers", Due: "2026-04-30",
			Ends: "2026-04-20", Outcome: "asked for at the sign-in; still some are missing",
		}}},
		{Day: "2026-03-04", Period: "2026-02"},
		{Day: "2026-04-08", Period: "2026-03"},
		{Day: "2026-05-06", Period: "2026-04", Freezes: true},
		{Day: "2026-06-03", Period: "2026-05", Agreed: []Agreed{{
			Room: "Hybrid 1", Text: "Plan the second stage of branched repairs with the skin map of the first (synthetic)", Owner: "Operators A and B", Due: "2026-09-30",
			Ends: "2026-09-21", Outcome: "done for every staged repair since August",
		}}},
		{Day: "2026-07-08", Period: "2026-06"},
		{Day: "2026-08-05", Period: "2026-07"},
		{Day: "2026-09-02", Period: "2026-08", Agreed: []Agreed{{
			Room: "Rhythm 3", Text: "Check the display of Rhythm 3, last done on 8 September 2025 (synthetic)", Owner: "Medical physics", Due: "2026-10-16",
		}}},
		{Day: "2026-10-06", Period: "2026-09", Agreed: []Agreed{
			{
				Room: "Cath 2", Text: "Find out why the kerma of coronary cases in Cath 2 rose in September (synthetic)", Owner: "Medical physics", Due: "2026-10-16",
				Ends: "2026-10-08", Outcome: "new software had set fluoroscopy to 15 pulses a second; set back to 7.5",
			},
			{Text: "Ask why reports of some procedures never come (synthetic)", Owner: "Information systems", Due: "2026-11-20"},
			{Text: "Give the unmapped names of Hybrid 1 a class (synthetic)", Owner: "Quality", Due: "2026-10-30"},
		}},
	}
}

// Review is what a colleague finds of the case at the meeting, "" where nobody looked yet, with the reason.
func (c YearCase) Review() (state summary.ReviewState, reason string) {
	switch luck := c.luck("review"); {
	case luck < 0.12:
		return "", ""
	case luck < 0.32:
		return summary.ReviewOpportunity, "one steep direction for most of the case (invented)"
	}
	return summary.ReviewAppropriate, "long for good reasons, directions were changed (invented)"
}
