package ask

import (
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/quantity"
)

// ErrRefused marks what a person may not do, or not yet.
var ErrRefused = errors.New("refused")

// ErrRole is the kind of ErrRefused that another role would not meet.
var ErrRole = fmt.Errorf("%w: not this role", ErrRefused)

// Ground is what a flag is settled on.
type Ground string

// The grounds.
const (
	OnFollowUp    Ground = "follow-up"    // what was asked was done and is over
	OnMeasurement Ground = "measurement"  // of the dose or of the display, at the equipment
	OnRecord      Ground = "record"       // the reported value is wrong, as another record shows
	OnOwnEstimate Ground = "own-estimate" // a physicist's own estimate of the peak skin dose
	OnEstimate    Ground = "estimate"     // the estimate of this program
)

// Grounds lists them.
func Grounds() []Ground {
	return []Ground{OnFollowUp, OnMeasurement, OnRecord, OnOwnEstimate, OnEstimate}
}

// Settlement is a person's word that nothing more follows from a flag.
type Settlement struct {
	Ground Ground
	Reason string
}

// Standing is what is known of a flag that is to be settled.
type Standing struct {
	Meaning  string
	Quantity level.Quantity
	// Open counts the open asks that rest on the flag.
	Open int
	// Own tells that a physicist's own estimate of the case is there.
	Own bool
}

// Check tells whether a role may settle a flag so. A notification may be settled by who was notified, everything else by a
// physicist alone. A flag of a reported quantity is never settled by an estimate of this program: the physicist who holds the
// dose for lower says so by an estimate of his own.
func (s Settlement) Check(by Role, f Standing) error {
	reported := f.Quantity != level.PSD
	known := false
	for _, g := range Grounds() {
		known = known || g == s.Ground
	}
	switch {
	case !known:
		return fmt.Errorf("%w: ground wants one of %v", ErrInvalid, Grounds())
	case strings.TrimSpace(s.Reason) == "" || utf8.RuneCountInString(s.Reason) > maxText:
		return fmt.Errorf("%w: settling wants a reason of at most %d characters", ErrInvalid, maxText)
	case by != Physicist && (by != Operator || f.Meaning != Notification):
		return fmt.Errorf("%w: a flag of the meaning %s is settled by a physicist", ErrRole, f.Meaning)
	case reported && s.Ground == OnEstimate:
		return fmt.Errorf("%w: an estimate below its level never settles a flag of a reported quantity; make an estimate of your own first, or settle it on a measurement or a record", ErrRefused)
	case s.Ground == OnOwnEstimate && !f.Own:
		return fmt.Errorf("%w: there is no estimate of a physicist on the case", ErrRefused)
	case s.Ground == OnFollowUp && f.Open > 0:
		return fmt.Errorf("%w: %d asks that rest on the flag are open", ErrRefused, f.Open)
	}
	return nil
}

// Notification is the meaning of a level that tells somebody and asks for no follow-up.
const Notification = "notification"

// Own is an estimate of the peak skin dose that a physicist made, beside the computed one.
type Own struct {
	Value, Low, High      quantity.Gray
	Place, Method, Reason string
}

// Check tells whether the estimate can be kept.
func (o Own) Check() error {
	switch {
	case !(o.Value >= 0) || !(o.Low >= 0) || !(o.High <= most) || o.Low > o.Value || o.Value > o.High:
		return fmt.Errorf("%w: low, value and high want rising doses from 0 to %v Gy", ErrInvalid, float64(most))
	case strings.TrimSpace(o.Method) == "" || strings.TrimSpace(o.Reason) == "":
		return fmt.Errorf("%w: an estimate of one's own wants its method and its reason", ErrInvalid)
	}
	for _, text := range []string{o.Place, o.Method, o.Reason} {
		if utf8.RuneCountInString(text) > maxText {
			return fmt.Errorf("%w: a text has more than %d characters", ErrInvalid, maxText)
		}
	}
	return nil
}

// most is a skin dose that no patient gets: a wrong unit.
const most quantity.Gray = 200
