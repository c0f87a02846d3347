package procedure

import "time"

// OffsetSource tells where the offset from UTC of a Moment came from.
type OffsetSource uint8

// The sources, best first.
const (
	OffsetUnknown OffsetSource = iota
	OffsetInValue
	OffsetOfDataSet
	OffsetOfDevice
	OffsetOfSite
)

// Moment is a point in time as a report gives it. Windows and months use its local date.
type Moment struct {
	// Time carries the local offset.
	Time time.Time
	// Offset tells how that offset is known.
	Offset OffsetSource
	// DateOnly tells that no time of day was given; Time is then the start of the local day.
	DateOnly bool
}

// IsZero tells whether no moment was given.
func (m Moment) IsZero() bool { return m.Time.IsZero() }

// LocalDate gives the local calendar day as 2006-01-02, or "" when no moment was given.
func (m Moment) LocalDate() string {
	if m.IsZero() {
		return ""
	}
	return m.Time.Format(time.DateOnly)
}
