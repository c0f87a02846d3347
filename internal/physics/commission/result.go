package commission

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// State is how far a question was answered.
type State uint8

// The states. Only what is Shown enters a profile.
const (
	Open         State = iota // the exposures or measurements for it are missing
	Shown                     // one answer fits, every other one does not
	Contradicted              // no answer fits, or two measurements disagree
)

// String names the state for people.
func (s State) String() string {
	switch s {
	case Shown:
		return "shown"
	case Contradicted:
		return "contradicted"
	case Open:
	}
	return "unknown"
}

// Conclusion is the answer to one question with what proves it.
type Conclusion struct {
	Question string
	State    State
	// Says is the answer, or why there is none.
	Says string
	// Events are the irradiation events that prove it, rising; the ones that speak against it where it is contradicted.
	Events []int
	// Residual is the largest departure of what was reported from the answer, Limit the largest that is tolerated, in Unit.
	Residual, Limit quantity.Opt[float64]
	Unit            string
}

// Axis is what one reported table position means.
type Axis struct {
	Conclusion
	Means procedure.TableAxis // without its zero
}

// Angles is what the reported angles are relative to.
type Angles struct {
	Conclusion
	Frame procedure.AngleFrame
}

// Zero is the reported number at which the table stands at the isocentre in one direction.
type Zero struct {
	Conclusion
	Number quantity.Opt[quantity.Millimetre]
}

// Component is one part of the budget of a factor.
type Component struct {
	Name string
	// Percent is one standard deviation.
	Percent quantity.Percent
	// Source says where it comes from and how it is known.
	Source string
}

// Ratio is one reading against the display.
type Ratio struct {
	Event int
	// Measured is at the reference point for air kerma.
	Measured, Displayed float64
	Ratio               float64 // measured over displayed
	BehindTable         bool
}

// Meter is the comparison of one displayed quantity.
type Meter struct {
	Conclusion
	Ratios []Ratio // those that the factor is of, by event
	Factor quantity.Opt[procedure.Factor]
	Spread quantity.Percent // standard deviation of the ratios
	Budget []Component
	// Expanded is the expanded uncertainty, k=2.
	Expanded quantity.Percent
}

// Compared sets one exposure beside what the answers expect of it.
type Compared struct {
	Exposure Exposure
	// Primary and Secondary are as reported.
	Primary, Secondary quantity.Opt[quantity.Degree]
	// Turned is the angle between the reported direction and the one expected, absent without a frame.
	Turned quantity.Opt[quantity.Degree]
	// Positions are the reported longitudinal, lateral and height; Off how far each is from the expected number.
	Positions, Off [3]quantity.Opt[quantity.Millimetre]
}

// Result is everything that a check found out.
type Result struct {
	Record    Record
	Device    string // key
	ReportUID string

	Longitudinal, Lateral, Height Axis
	Isocentric                    []Conclusion // rows of the isocentre system, where the report has them
	Angles                        Angles
	HeightZero, LeftZero          Zero
	HeadZero                      Zero
	Kerma, KAP                    Meter

	Compared []Compared
	// Notes are what the reader of the sheet has to know besides.
	Notes []string
	// Profile is the draft: what was there before, with what is shown now. Changes says what differs and what was kept.
	Profile procedure.DeviceProfile
	Changes []string
}

// Conclusions lists every answer in the order of the sheet.
func (r *Result) Conclusions() []Conclusion {
	out := []Conclusion{r.Longitudinal.Conclusion, r.Lateral.Conclusion, r.Height.Conclusion}
	out = append(out, r.Isocentric...)
	return append(
		out, r.Angles.Conclusion, r.HeightZero.Conclusion, r.LeftZero.Conclusion, r.HeadZero.Conclusion,
		r.Kerma.Conclusion, r.KAP.Conclusion,
	)
}

// Contradicted tells whether anything was found in two ways.
func (r *Result) Contradicted() bool {
	for _, c := range r.Conclusions() {
		if c.State == Contradicted {
			return true
		}
	}
	return false
}
