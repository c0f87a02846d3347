package exposure

import (
	"math"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// field is the collimated field as tangents of its half-widths, and where it came from.
type field struct {
	halfWidth, halfHeight float64
	// reported tells that it does not rest on the ratio of kerma-area product to kerma.
	reported bool
}

// widest is the largest half field at unit distance that is believed: a field of 1.2 m at 1 m; judgement.
const widest = 0.6

// least is the smallest side of a field that is believed, in mm; judgement: blades do not close further.
const least = 1

// The range of kerma-area product over kerma, an area, that is believed, in cm2; judgement.
const leastRatioArea, mostRatioArea = 1, 1000

// fieldOf gives the field by eq. (5.13): the reported rectangle, else the square of the reported area, else the square
// of kerma-area product over kerma at the reference point.
func (t *tracer) fieldOf(e *procedure.Event, isocentre, reference quantity.Millimetre) (field, error) {
	width, height, known := t.reportedSize(e)
	f := field{reported: known}
	if known {
		at := float64(t.fieldDistance(e, isocentre, reference))
		f.halfWidth, f.halfHeight = float64(width)/2/at, float64(height)/2/at
	} else {
		area, ok := ratioArea(e)
		if !ok {
			return field{}, unusable("no usable field size")
		}
		t.assume("field size missing: a square of kerma-area product over kerma at the reference point (judgement)")
		side := math.Sqrt(area.Cm2()) * 10
		f.halfWidth = side / 2 / float64(reference)
		f.halfHeight = f.halfWidth
	}
	if !(f.halfWidth < widest && f.halfHeight < widest) {
		return field{}, unusable("the field size is larger than any equipment has")
	}
	return f, nil
}

// output gives the field and the kerma of an event.
func (t *tracer) output(e *procedure.Event, isocentre, reference quantity.Millimetre) (field, quantity.Gray, error) {
	f, err := t.fieldOf(e, isocentre, reference)
	if err != nil {
		return field{}, 0, err
	}
	kerma, err := t.kermaOf(e, f, reference)
	return f, kerma, err
}

// reportedSize is the reported field in its plane.
func (t *tracer) reportedSize(e *procedure.Event) (width, height quantity.Millimetre, ok bool) {
	t.now.size = false
	if e.Suspicion.Has(procedure.SuspectField) {
		return 0, 0, false
	}
	width, hasWidth := positive(e.Field.Width)
	height, hasHeight := positive(e.Field.Height)
	area, hasArea := positive(e.Field.Area)
	mm2 := quantity.Millimetre(area.Cm2() * 100)
	hasWidth, hasHeight, hasArea = hasWidth && width >= least, hasHeight && height >= least, hasArea && mm2 >= least*least
	side := quantity.Millimetre(math.Sqrt(float64(mm2)))
	switch {
	case hasWidth && hasHeight:
		t.now.size = true
		return width, height, true
	case hasWidth && hasArea:
		return width, mm2 / width, true
	case hasHeight && hasArea:
		return mm2 / height, height, true
	case hasArea:
		t.notes.say("only the field's area is known: a square of that area (judgement)")
		return side, side, true
	case hasWidth || hasHeight:
		t.assume("only one side of the field is known: a square (judgement)")
		side = max(width, height)
		return side, side, true
	}
	return 0, 0, false
}

// rotation is the angle in degrees by which the field is turned in its own plane: that of the detector.
func (t *tracer) rotation(e *procedure.Event) float64 {
	angle, ok := e.Mechanics.DetectorRotation.Get()
	if !ok || !finite(float64(angle), 360) {
		t.notes.say("detector rotation not reported: 0 (common practice, no source)")
		return 0
	}
	if angle != 0 {
		t.notes.say("field turned with the detector as reported, from its height to its width (sense by judgement)")
	}
	return float64(angle)
}

// fieldDistance is the distance from the focus at which the field size is meant.
func (t *tracer) fieldDistance(e *procedure.Event, isocentre, reference quantity.Millimetre) quantity.Millimetre {
	switch t.profile.FieldPlane {
	case procedure.FieldAtReference:
		return reference
	case procedure.FieldAtIsocentre:
		return isocentre
	case procedure.FieldAtDetector:
	}
	return t.sourceToDetector(e, isocentre)
}

// ratioArea is the field's area at the reference point from kerma-area product and kerma, when both are believed.
func ratioArea(e *procedure.Event) (quantity.SquareMetre, bool) {
	kap, hasKAP := believedKAP(e)
	kerma, hasKerma := believedKerma(e)
	if !hasKAP || !hasKerma {
		return 0, false
	}
	area := quantity.SquareMetre(float64(kap) / float64(kerma))
	return area, area.Cm2() >= leastRatioArea && area.Cm2() <= mostRatioArea
}

func believedKerma(e *procedure.Event) (quantity.Gray, bool) {
	k, ok := positive(e.RefKerma)
	return k, ok && !e.Suspicion.Has(procedure.SuspectKerma)
}

func believedKAP(e *procedure.Event) (quantity.GraySquareMetre, bool) {
	k, ok := positive(e.KAP)
	return k, ok && !e.Suspicion.Has(procedure.SuspectKAP)
}

// beyond is more than any quantity of an event can be in its canonical unit; judgement. It keeps products finite.
const beyond = 1e9

// positive gives a value that is present, above zero and of this world.
func positive[T ~float64](o quantity.Opt[T]) (T, bool) {
	v, ok := o.Get()
	return v, ok && v > 0 && v <= beyond
}

// kermaOf is the reference air kerma of an event: reported, else kerma-area product over the field's area at the
// reference point, eq. (5.15).
func (t *tracer) kermaOf(e *procedure.Event, f field, reference quantity.Millimetre) (quantity.Gray, error) {
	if k, ok := believedKerma(e); ok {
		return k, nil
	}
	kap, ok := believedKAP(e)
	if !ok || !f.reported {
		return 0, unusable("neither air kerma nor kerma-area product with a field size is usable")
	}
	t.assume("air kerma missing: kerma-area product over the field's area at the reference point (judgement)")
	d := float64(reference) / 1000
	area := 4 * f.halfWidth * f.halfHeight * d * d
	return quantity.Gray(float64(kap) / area), nil
}
