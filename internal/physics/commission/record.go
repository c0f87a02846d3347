package commission

import (
	"errors"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// ErrRecord marks a record of a check that cannot be used; the text names the key and the expected form.
var ErrRecord = errors.New("record of the check not usable")

// Record is what a physicist wrote down of the exposures of one plane: what was done, not what the equipment shows.
type Record struct {
	// Device is the key of the device, "" for that of the report.
	Device string
	Plane  procedure.Plane
	Day    string // local day, 2006-01-02
	By     string // who made the exposures and answers for the record

	Exposures []Exposure
	Heights   Heights
	Dosimeter Dosimeter
	Readings  []Reading
}

// Exposure is one exposure of the geometry: where detector and table really stood, and how the patient was registered.
type Exposure struct {
	Event int // number of the irradiation event in the report, from 1

	Direction procedure.Direction
	Posture   procedure.Posture
	// Left and Head say where the detector stood, from straight above the table: toward the table's left, then toward its head.
	Left, Head quantity.Degree
	Moved      Motion
}

// Motion is how far the table stood from where it started, toward its head, to its left and down.
type Motion struct{ Head, Left, Down quantity.Millimetre }

// along is the part of a motion that a table axis of this meaning shows.
func (m Motion) along(meaning procedure.AxisMeaning) quantity.Millimetre {
	switch meaning {
	case procedure.AxisTableHead:
		return m.Head
	case procedure.AxisTableLeft:
		return m.Left
	case procedure.AxisTableDown:
		return m.Down
	case procedure.AxisUnknown:
	}
	return 0
}

// Heights are what a tape measure says of where the table stood during one event.
type Heights struct {
	Event int // 0 when nothing was measured

	// Isocentre and TableTop are heights above the floor; the table top is the upper side of the top, without mattress.
	Isocentre, TableTop quantity.Opt[quantity.Millimetre]
	// SourceToTable is the distance from the mark of the focal spot to the upper side of the top, tube straight below.
	SourceToTable quantity.Opt[quantity.Millimetre]
	// Midline is how far the table's midline stood to the table's left of the isocentre, Reference how far its reference point
	// stood headward of it.
	Midline, Reference quantity.Opt[quantity.Millimetre]
}

// Dosimeter is the instrument the display is compared with, and how well its reading and place are known.
type Dosimeter struct {
	Name, Certificate string
	// Calibration is the expanded uncertainty (k=2) of its certificate.
	Calibration quantity.Opt[quantity.Percent]
	// Energy are the limits of its response over the beam qualities used.
	Energy quantity.Opt[quantity.Percent]
	// Distance is one standard deviation of the distance from focus to chamber; Side that of a side of the measured field.
	Distance, Side quantity.Opt[quantity.Millimetre]
	// Uniformity is one standard deviation of the mean kerma over the field against its middle.
	Uniformity quantity.Opt[quantity.Percent]
}

// Reading is one reading of the dosimeter, corrected as its certificate says, free of backscatter.
type Reading struct {
	Event    int
	Kerma    quantity.Gray
	Distance quantity.Millimetre // focus to chamber
	// BehindTable tells that the beam crossed table or mattress before it reached the chamber.
	BehindTable bool
	// Width and Height are the field's sides at the chamber, both absent when the field was not measured.
	Width, Height quantity.Opt[quantity.Millimetre]
}
