package exposure

import (
	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// Detector gives the unit vector from focus to detector for a primary and a secondary angle, in the axes of the frame the
// angles are meant in, eq. (5.8).
func Detector(primary, secondary quantity.Degree) r3.Vec {
	return beamAxes(float64(primary), float64(secondary)).toward
}

// InPatient turns a vector in room axes into the axes of a patient who lies in the given way, eq. (5.10); ok is false for a
// direction or posture without a rule.
func InPatient(direction procedure.Direction, posture procedure.Posture, v r3.Vec) (in r3.Vec, ok bool) {
	m, ok := lie{direction, posture}.rows()
	return m.of(v), ok
}

// ReferenceDistance gives the distance from focus to reference point as a report tells it without a patient in the beam:
// reported, else by the code of the point on the axis of a C-arm, eq. (5.14); ok is false where neither tells it.
func ReferenceDistance(e *procedure.Event) (d quantity.Millimetre, ok bool) {
	if d, ok := positive(e.Mechanics.SourceToReference); ok {
		return d, true
	}
	isocentre, ok := positive(e.Mechanics.SourceToIsocentre)
	if !ok || refCode(e) != refIsocentre || isocentre <= beforeIsocentre {
		return 0, false
	}
	return isocentre - beforeIsocentre, true
}
