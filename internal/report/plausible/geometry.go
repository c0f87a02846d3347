package plausible

import (
	"math"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/notebook"
)

func eventGeometry(e *procedure.Event, notes *notebook.Notebook, at notebook.Place) {
	angles(e, notes, at)
	distances(e, notes, at)
	orientation(e, notes, at)
}

func angles(e *procedure.Event, notes *notebook.Notebook, at notebook.Place) {
	m := &e.Mechanics
	for _, a := range []struct {
		name  string
		value quantity.Opt[quantity.Degree]
		most  float64
	}{
		{"Positioner Primary Angle", m.Primary, 180},
		{"Positioner Primary End Angle", m.PrimaryEnd, 180},
		{"Positioner Secondary Angle", m.Secondary, 90},
		{"Positioner Secondary End Angle", m.SecondaryEnd, 90},
	} {
		if math.Abs(float64(a.value.Or(0))) > a.most {
			e.Suspicion |= procedure.SuspectAngle
			notes.Addf("angle-range", procedure.Suspect, at.Of(a.name), "angle outside -%g to %g degrees", a.most, a.most)
		}
	}
	ends := m.PrimaryEnd.Present() || m.SecondaryEnd.Present()
	switch {
	case e.Type == procedure.Rotational && !ends && m.Primary.Present():
		notes.Add("end-angle-missing", procedure.Reduced, at.Of("Positioner Primary End Angle"), "a rotational run without an end angle; its arc is not known")
	case ends && e.Type != procedure.Rotational && e.Type != procedure.EventUnknown:
		notes.Add("end-angle-static", procedure.Note, at.Of("Positioner Primary End Angle"), "end angles on an event that is no rotational run")
	}
	if m.Column.Present() && (m.Primary.Present() || m.Secondary.Present()) {
		notes.Add("column-angle", procedure.Note, at.Of("Column Angulation"), "column angulation beside positioner angles; the standard wants one of them")
	}
}

func distances(e *procedure.Event, notes *notebook.Notebook, at notebook.Place) {
	m := &e.Mechanics
	inRange(e, m.SourceToDetector, leastDetector, mostDetector, notes, at.Of("Distance Source to Detector"), "700 to 1300 mm")
	inRange(e, m.SourceToIsocentre, leastCentre, mostCentre, notes, at.Of("Distance Source to Isocenter"), "500 to 900 mm")
	reference, okR := m.SourceToReference.Get()
	centre, okC := m.SourceToIsocentre.Get()
	detector, okD := m.SourceToDetector.Get()
	// Only the points of a C-arm lie before the isocentre; those of other definitions may lie behind it.
	before := okC && (e.RefPoint.Code.IsZero() || e.RefPoint.Code.Is("113860", "DCM"))
	disordered := (okC && okD && centre >= detector) || (okR && okD && reference > detector) || (okR && before && reference >= centre)
	if disordered {
		e.Suspicion |= procedure.SuspectDistance
		notes.Add("distance-order", procedure.Suspect, at.Of("Distance Source to Reference Point"),
			"reference point, isocentre and detector are not in this order from the source")
		return
	}
	if okR && okC && e.RefPoint.Code.Is("113860", "DCM") {
		fifteen(float64(centre-reference), notes, at)
	}
}

// fifteen looks whether the reference point is 15 cm from the isocentre, as its code defines; displays round to a
// centimetre.
func fifteen(apart float64, notes *notebook.Notebook, at notebook.Place) {
	if math.Abs(apart-150) > 20 {
		notes.Add("reference-distance", procedure.Reduced, at.Of("Distance Source to Reference Point"),
			"the reference point is not 15 cm from the isocentre as its code says; the distance counts")
	}
}

func inRange(e *procedure.Event, o quantity.Opt[quantity.Millimetre], low, high quantity.Millimetre, notes *notebook.Notebook, at notebook.Place, bounds string) {
	v, ok := o.Get()
	switch {
	case !ok || (v >= low && v <= high):
	case v < nearestAny || v > farthestAny:
		e.Suspicion |= procedure.SuspectDistance
		notes.Add("distance-range", procedure.Suspect, at, "no possible distance, usual are "+bounds)
	default:
		notes.Add("distance-range", procedure.Reduced, at, "unusual distance, usual are "+bounds)
	}
}

// orientation reminds that only the device profile says whether angles follow the patient, which matters unless the
// patient lies head first and supine.
func orientation(e *procedure.Event, notes *notebook.Notebook, at notebook.Place) {
	usual := (e.Direction == procedure.HeadFirst || e.Direction == procedure.DirectionUnknown) &&
		(e.Posture == procedure.Supine || e.Posture == procedure.PostureUnknown)
	if !usual && e.Mechanics.Primary.Present() {
		notes.Addf("angle-frame", procedure.Note, at.Of("Patient Orientation"),
			"the patient lies %v, %v: whether the angles follow patient or gantry is a matter of the device profile", e.Direction, e.Posture)
	}
}
