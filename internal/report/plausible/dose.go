package plausible

import (
	"math"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/notebook"
)

const (
	nameKerma = "Dose (RP)"
	nameKAP   = "Dose Area Product"
)

func eventDose(e *procedure.Event, notes *notebook.Notebook, at notebook.Place) {
	if e.RefKerma.Or(0) > mostEventKerma {
		e.Suspicion |= procedure.SuspectKerma
		notes.Add("dose-absurd", procedure.Suspect, at.Of(nameKerma), "more than 20 Gy in one event")
	}
	if e.KAP.Or(0) > mostEventKAP {
		e.Suspicion |= procedure.SuspectKAP
		notes.Add("dose-absurd", procedure.Suspect, at.Of(nameKAP), "more than 10 000 Gy cm2 in one event")
	}
	kermaRate(e, notes, at)
	fieldByDose(e, notes, at)
}

// kermaRate looks at air kerma over time. US law limits fluoroscopy to 88 to 176 mGy/min at its measuring point (21 CFR
// 1020.32, known from memory), so 3 Gy/min at the reference point is far off.
func kermaRate(e *procedure.Event, notes *notebook.Notebook, at notebook.Place) {
	seconds := float64(e.Technique.Duration.Or(e.Technique.ExposureTime.Or(0)))
	kerma := float64(e.RefKerma.Or(0))
	// A duration shorter than a pulse train's rounding says nothing of a rate.
	if seconds < 0.5 || kerma <= 0 {
		return
	}
	switch rate := kerma / seconds; {
	case rate > mostRate:
		e.Suspicion |= procedure.SuspectKerma
		notes.Add("kerma-rate", procedure.Suspect, at.Of(nameKerma), "air kerma rate above 60 Gy/min")
	case rate > highFluoroRate && e.Type == procedure.Fluoroscopy:
		notes.Add("kerma-rate", procedure.Reduced, at.Of(nameKerma), "air kerma rate of fluoroscopy above 3 Gy/min")
	}
}

// fieldByDose compares KAP over air kerma, the field area at the reference point, with what a field can be and with the
// collimated field scaled from the detector to the reference point.
func fieldByDose(e *procedure.Event, notes *notebook.Notebook, at notebook.Place) {
	kerma, area := float64(e.RefKerma.Or(0)), float64(e.KAP.Or(0))
	if kerma <= 0 || area <= 0 {
		return
	}
	byDose := area / kerma
	byField, known := fieldAtReference(e)
	switch {
	case byDose < float64(leastField) || byDose > float64(mostField):
		e.Suspicion |= blame(byDose, byField, known)
		if !known {
			e.Suspicion |= procedure.SuspectField
		}
		notes.Addf("kap-kerma-ratio", procedure.Suspect, at.Of(nameKAP),
			"KAP over air kerma is no possible field, 1 to 1000 cm2 expected; a unit may be wrong: %s", blamed(blame(byDose, byField, known)))
		return
	case byDose < float64(smallField) || byDose > float64(largeField):
		notes.Add("kap-kerma-ratio", procedure.Reduced, at.Of(nameKAP), "KAP over air kerma is an unusual field, 10 to 500 cm2 expected")
	}
	if !known {
		return
	}
	switch {
	case factor(byDose, byField) > fieldFactor:
		e.Suspicion |= procedure.SuspectField
		notes.Add("field-area", procedure.Suspect, at.Of("Collimated Field Area"),
			"collimated field at the reference point and KAP over air kerma differ by more than a factor 2")
	case differs(byDose, byField, fieldTolerance):
		notes.Add("field-area", procedure.Reduced, at.Of("Collimated Field Area"),
			"collimated field at the reference point and KAP over air kerma differ by more than 20 %")
	}
}

// fieldAtReference gives the collimated field, in m2, scaled from the detector to the reference point.
func fieldAtReference(e *procedure.Event) (float64, bool) {
	area, ok := e.Field.Area.Get()
	if !ok {
		h, okH := e.Field.Height.Get()
		w, okW := e.Field.Width.Get()
		if !okH || !okW {
			return 0, false
		}
		area = quantity.SquareMetre(float64(h/quantity.Metre) * float64(w/quantity.Metre))
	}
	reference, okR := referenceDistance(e)
	detector, okD := e.Mechanics.SourceToDetector.Get()
	if !okR || !okD || detector <= 0 || area <= 0 || e.Suspicion.Has(procedure.SuspectDistance|procedure.SuspectField) {
		return 0, false
	}
	ratio := float64(reference / detector)
	return float64(area) * ratio * ratio, true
}

// referenceDistance gives focus to reference point: as reported, else by its code (PS3.16 CID 10025).
func referenceDistance(e *procedure.Event) (quantity.Millimetre, bool) {
	if d, ok := e.Mechanics.SourceToReference.Get(); ok && d > 0 {
		return d, true
	}
	if e.RefPoint.Code.Scheme != "DCM" {
		return 0, false
	}
	from, offset := e.Mechanics.SourceToIsocentre, quantity.Millimetre(-150)
	switch e.RefPoint.Code.Value {
	case "113860":
	case "113861":
		from, offset = e.Mechanics.SourceToDetector, -300
	case "113941":
		from, offset = e.Mechanics.SourceToDetector, 0
	case "113965":
		return quantity.Metre, true
	default:
		return 0, false
	}
	d, ok := from.Get()
	return d + offset, ok && d+offset > 0
}

// blame tells which of KAP and kerma is off when their ratio is no possible field. Against a known field, thousands are
// mGy taken for Gy, so the kerma; any other factor is an area unit, so the KAP. Without a field either may be wrong.
func blame(byDose, byField float64, known bool) procedure.Suspicion {
	if !known {
		return procedure.SuspectKAP | procedure.SuspectKerma
	}
	decades := math.Log10(byDose / byField)
	// Between two powers of ten the nearer one counts; a collimated field is good to a factor 2.
	if math.Round(math.Abs(decades)) == 3 {
		return procedure.SuspectKerma | procedure.SuspectKAP
	}
	return procedure.SuspectKAP
}

func blamed(s procedure.Suspicion) string {
	if s.Has(procedure.SuspectKerma) {
		return "neither is believed"
	}
	return "the KAP is not believed"
}

// totalDose looks at the accumulated values of one plane alone.
func totalDose(t *procedure.PlaneTotal, notes *notebook.Notebook, at notebook.Place) {
	if t.RefKerma.Or(0) > mostKerma {
		t.Suspicion |= procedure.SuspectKerma
		notes.Add("dose-absurd", procedure.Suspect, at.Of("Dose (RP) Total"), "more than 100 Gy in one case")
	}
	if t.KAP.Or(0) > mostKAP {
		t.Suspicion |= procedure.SuspectKAP
		notes.Add("dose-absurd", procedure.Suspect, at.Of("Dose Area Product Total"), "more than 50 000 Gy cm2 in one case")
	}
	kerma, area := float64(t.RefKerma.Or(0)), float64(t.KAP.Or(0))
	if kerma > 0 && area > 0 {
		switch byDose := area / kerma; {
		case byDose < float64(leastField) || byDose > float64(mostField):
			t.Suspicion |= procedure.SuspectKAP | procedure.SuspectKerma
			notes.Add("kap-kerma-ratio", procedure.Suspect, at.Of("Dose Area Product Total"),
				"total KAP over total air kerma is no possible field, 1 to 1000 cm2 expected; a unit may be wrong: neither is believed")
		case byDose < float64(smallField) || byDose > float64(largeField):
			notes.Add("kap-kerma-ratio", procedure.Reduced, at.Of("Dose Area Product Total"),
				"total KAP over total air kerma is an unusual field, 10 to 500 cm2 expected")
		}
	}
	parts(t, notes, at)
}
