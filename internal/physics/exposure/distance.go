package exposure

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// What is taken when a distance is missing.
const (
	// Typical of C-arms, which have 70 to 81 cm; judgement.
	defaultSourceToIsocentre quantity.Millimetre = 750
	// Detector against isocentre, both from the focus; judgement, usual are 1.3 to 1.6.
	defaultDetectorRatio = 1.5
	// The reference point of C-arms lies so far before the isocentre. Source: PS3.16 CID 10025, code 113860; read.
	beforeIsocentre quantity.Millimetre = 150
	// Nearer skin than this is not reached on equipment that keeps its spacer. Source: 21 CFR 1020.32(g); known from memory.
	leastFocusSkin       quantity.Millimetre = 380
	leastFocusSkinMobile quantity.Millimetre = 300
)

// The reference point codes of PS3.16 CID 10025.
const (
	refIsocentre     = "113860" // 15 cm from the isocentre toward the source
	refInputSurface  = "113861" // 30 cm in front of the image input surface
	refTableUnder    = "113862" // 1 cm above the table top
	refTableOver     = "113863" // 30 cm above the table top
	refCentreline    = "113864" // 15 cm from the table centreline
	refDetector      = "113941" // in the detector plane
	refSkin          = "113964" // at the patient's surface
	refOneMetre      = "113965" // 100 cm from the source
	schemeOfDistance = "DCM"
)

// unusable is a reason why an event cannot become shots. It is a result, not a failure.
type unusable string

func (u unusable) Error() string { return string(u) }

// refCode gives the code of an event's reference point, "" when absent or not of the standard.
func refCode(e *procedure.Event) string {
	if e.RefPoint.Code.Scheme != schemeOfDistance {
		return ""
	}
	return e.RefPoint.Code.Value
}

// sourceToIsocentre is the reported distance, else the profile's, else a typical one.
func (t *tracer) sourceToIsocentre(e *procedure.Event) quantity.Millimetre {
	if d, ok := positive(e.Mechanics.SourceToIsocentre); ok {
		return d
	}
	if d, ok := positive(t.profile.SourceToIsocentre); ok {
		return d
	}
	t.now.distances = false
	t.assume("distance source to isocentre missing: 750 mm (judgement, C-arms have 700 to 810 mm)")
	return defaultSourceToIsocentre
}

// sourceToDetector is the reported distance, else a usual multiple of the isocentre's.
func (t *tracer) sourceToDetector(e *procedure.Event, isocentre quantity.Millimetre) quantity.Millimetre {
	if d, ok := positive(e.Mechanics.SourceToDetector); ok {
		return d
	}
	t.now.size = false
	t.assume("distance source to detector missing: 1.5 times the distance to the isocentre (judgement)")
	return defaultDetectorRatio * isocentre
}

// reference is the distance from focus to reference point for one beam: reported, else of the profile, else by the
// meaning of its code, eq. (5.14). focus and toward are in body axes, under is the table plane.
func (t *tracer) reference(e *procedure.Event, isocentre quantity.Millimetre, focus, toward r3.Vec, under plane) (quantity.Millimetre, error) {
	if d, ok := positive(e.Mechanics.SourceToReference); ok {
		return d, nil
	}
	if d, ok := positive(t.profile.RefPoint); ok {
		return d, nil
	}
	d, err := t.referenceByCode(e, isocentre, focus, toward, under)
	if err == nil && d <= 0 {
		return 0, unusable(fmt.Sprintf("the reference point would lie %s mm from the focus", plain(float64(d))))
	}
	return d, err
}

func (t *tracer) referenceByCode(e *procedure.Event, isocentre quantity.Millimetre, focus, toward r3.Vec, under plane) (quantity.Millimetre, error) {
	switch code := refCode(e); code {
	case refIsocentre:
		return isocentre - beforeIsocentre, nil
	case refInputSurface:
		if _, ok := positive(e.Mechanics.SourceToDetector); !ok {
			return t.referenceOfCArm(isocentre, "the distance source to detector, which its reference point is given by, is missing"), nil
		}
		return t.sourceToDetector(e, isocentre) - 300, nil
	case refTableUnder, refTableOver:
		return t.referenceByTable(e, isocentre, focus, toward, under)
	case refCentreline:
		t.assume("reference point 15 cm from the table centreline: the centreline is taken to pass the isocentre (judgement)")
		return isocentre - 150, nil
	case refDetector:
		// Without the distance the point is no C-arm's: the one that also carries the field is the cautious choice.
		if _, ok := positive(e.Mechanics.SourceToDetector); !ok {
			t.now.distances = false
		}
		return t.sourceToDetector(e, isocentre), nil
	case refOneMetre:
		return 1000, nil
	case refSkin:
		d, ok := t.body.Enter(focus, toward)
		if !ok {
			return 0, unusable("the reference point is at the skin, but the central ray misses the body")
		}
		return quantity.Millimetre(d), nil
	}
	if e.Mechanics.Column.Present() && !e.Mechanics.Primary.Present() {
		return 0, unusable("no reference point for a table with its own tube column")
	}
	return t.referenceOfCArm(isocentre, "reference point missing or not coded"), nil
}

// referenceByTable is the distance to a reference point given by the table top.
func (t *tracer) referenceByTable(e *procedure.Event, isocentre quantity.Millimetre, focus, toward r3.Vec, under plane) (quantity.Millimetre, error) {
	if _, ok := positive(e.Mechanics.SourceToTable); !ok && e.Mechanics.Primary.Present() {
		return t.referenceOfCArm(isocentre, "the distance source to table, which its reference point is given by, is missing"), nil
	}
	table, err := t.sourceToTable(e, focus, toward, under)
	if refCode(e) == refTableUnder {
		return table + 10, err
	}
	return table - 300, err
}

// referenceOfCArm is the reference point of C-arms where the reported one cannot be used.
func (t *tracer) referenceOfCArm(isocentre quantity.Millimetre, why string) quantity.Millimetre {
	t.now.distances = false
	t.assume(why + ": 15 cm from the isocentre toward the source, as on C-arms (common practice, no source)")
	return isocentre - beforeIsocentre
}

// plane is the table top in body axes: a depth along the direction down into the table.
type plane struct {
	down  r3.Vec
	depth float64
	known bool
}

// sourceToTable is the reported distance along the beam, else that to the table of the placed patient.
func (t *tracer) sourceToTable(e *procedure.Event, focus, toward r3.Vec, under plane) (quantity.Millimetre, error) {
	if d, ok := positive(e.Mechanics.SourceToTable); ok {
		return d, nil
	}
	slope := r3.Dot(toward, under.down)
	if !under.known || slope*slope < 0.03 { // within 10 degrees of the table's own plane
		return 0, unusable("the reference point is given by the table top, whose distance is not known")
	}
	t.assume("distance source to table missing: that of the placed patient's table (judgement)")
	return quantity.Millimetre((under.depth - r3.Dot(focus, under.down)) / slope), nil
}

// nearSkin looks at the distance from focus to skin along the central ray.
func (t *tracer) nearSkin(e *procedure.Event, s *Shot) error {
	if t.body.Inside(s.Focus) {
		t.littleKnown = true
		t.find(e, "focus-in-body", procedure.Suspect, "", "the focus would lie inside the body: distances, table position or body size are wrong")
		return unusable("the focus would lie inside the body")
	}
	d, hit := t.body.Enter(s.Focus, s.Toward)
	if !hit {
		t.find(e, "ray-misses-body", procedure.Reduced, "", "the central ray misses the body model")
		return nil
	}
	limit := leastFocusSkin
	if t.profile.Mobile {
		limit = leastFocusSkinMobile
	}
	if quantity.Millimetre(d) < limit {
		t.littleKnown = true
		t.find(e, "focus-skin-distance", procedure.Suspect, "", fmt.Sprintf(
			"the skin would be %s mm from the focus, nearer than the %s mm equipment allows", quantity.Fixed(d, 0), plain(float64(limit))))
	}
	return nil
}
