package ask

import (
	"cmp"
	"slices"
)

// Kind is what is asked of somebody.
type Kind string

// The kinds of asks.
const (
	// Record wants the dose and its reason in the procedure's record.
	Record Kind = "record"
	// Inform wants the patient, or who cares for the patient, told what to look for.
	Inform Kind = "inform"
	// Review wants a physicist to check report, calibration, estimate and place on the body.
	Review Kind = "review"
	// Clarify wants a physicist to find what is missing or not believed.
	Clarify Kind = "clarify"
	// EarlyCheck is the look at the skin in the window of 10 to 14 days.
	EarlyCheck Kind = "early-check"
	// MonthCheck is the contact at about 30 days.
	MonthCheck Kind = "month-check"
	// Examination is a physical examination of the skin at 2 to 4 weeks.
	Examination Kind = "examination"
	// LateCheck looks for late changes after 3, 6 and 12 months.
	LateCheck Kind = "late-check"
	// Refer sends a patient with a reaction to somebody who treats radiation wounds.
	Refer Kind = "refer"
	// RiskManagement tells the site's risk management.
	RiskManagement Kind = "risk-management"
)

// Kinds lists every kind in the order in which they fall due.
func Kinds() []Kind {
	return []Kind{Record, Inform, RiskManagement, Review, Clarify, EarlyCheck, Examination, MonthCheck, Refer, LateCheck}
}

// LooksAtSkin tells whether the answer to such an ask says what the skin looks like.
func (k Kind) LooksAtSkin() bool {
	return k == EarlyCheck || k == MonthCheck || k == Examination || k == LateCheck || k == Refer
}

// Role is who owns an ask: a role of the service's accounts.
type Role string

// The roles that asks and their escalation go to.
const (
	Operator  Role = "operator"
	Physicist Role = "physicist"
	Quality   Role = "quality"
)

// State is how an ask stands. That one is overdue follows from its day and today's; see Ask.Overdue.
type State string

// The states.
const (
	Open       State = "open"
	Answered   State = "answered"
	Superseded State = "superseded" // what it rested on no longer holds
	Settled    State = "settled"    // a physicist settled what it rested on
)

// Ask is one thing asked of one role, and where known of one person, about a case.
type Ask struct {
	ID string `json:"id"`
	// Slot names the ask within its case: a case has at most one ask of a slot.
	Slot  string `json:"slot"`
	Kind  Kind   `json:"kind"`
	Owner Role   `json:"owner"`
	// Person is the account that is asked, "" when nobody of the role is known.
	Person string `json:"person"`
	// From and Due are local dates of the site (2006-01-02): not before and by when. From is "" when it may be done at once.
	From string `json:"from"`
	Due  string `json:"due"`
	// Text is the key of the words that say what is asked.
	Text  string `json:"text"`
	State State  `json:"state"`
}

// Compare orders asks by due day and, on one day, by kind and slot.
func Compare(a, b Ask) int {
	kinds := Kinds()
	return cmp.Or(cmp.Compare(a.Due, b.Due), slices.Index(kinds, a.Kind)-slices.Index(kinds, b.Kind), cmp.Compare(a.Slot, b.Slot))
}

// Overdue tells whether an open ask's day is past on a local date.
func (a Ask) Overdue(today string) bool { return a.State == Open && a.Due < today }
