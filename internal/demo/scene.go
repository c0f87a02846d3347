package demo

import (
	"time"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// scene is one case as the tables tell it.
type scene struct {
	file, title string
	room        room
	patient     subject
	description string
	accession   string
	start       time.Time // first pulse, local
	minutes     float64   // from the first pulse to the last
	kerma       quantity.Gray
	operators   []procedure.Person
	intent      procedure.Code
	purpose     procedure.Purpose
	steps       []step
	// totalsOnly is set for equipment that tells the totals alone: then there are no steps.
	totalsOnly []procedure.PlaneTotal
}

// subject is an invented patient. One without a size is a test object as thick as its step says.
type subject struct {
	id, name, birth, sex string
	height               quantity.Millimetre
	weight               quantity.Kilogram
}

// step is a stretch of a case with one part of the body in the field.
type step struct {
	name   string
	region procedure.Code
	// along is the place at the isocentre in cm above the trunk base of a trunk of 70 cm, left its distance in mm to the
	// patient's left.
	along, left float64
	// density is how much soft tissue a centimetre of the path counts for: below 1 where lung lies in the beam.
	density float64
	// thickness replaces the path through the patient, in cm, for a test object.
	thickness float64
	// height and width are the field at the detector in mm.
	height, width float64
	views         []view
	// passes is how often the views are gone through in turn; 0 is once.
	passes int
	runs   []run
}

// view is a working projection, angles in degrees: LAO and cranial positive. weight is its share of a pass.
type view struct {
	primary, secondary float64
	weight             float64
	// side is the view of plane B at the same time, nil when plane A works alone.
	side *view
}

// run is a number of pedal presses of one mode that last so many seconds together.
type run struct {
	mode    mode
	presses int
	seconds float64
}

// mode is how the equipment makes pulses.
type mode struct {
	protocol string
	kind     procedure.EventType
	rate     float64 // pulses a second
	width    float64 // ms
	kerma    float64 // mGy a pulse at the reference point for 22 cm of tissue
	// thin and thick are mm of copper for little and much tissue.
	thin, thick float64
	focus       float64 // focal spot, mm
	arc         float64 // half the arc of a rotation, degrees
	// distance is a fixed source-detector distance in mm; 0 puts the detector near the patient.
	distance   float64
	wholeField bool // the whole detector is open
	fixed      bool // each press lasts the same
}
