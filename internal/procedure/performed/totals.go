package performed

import (
	"fmt"
	"math"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// Totals are the dose totals of a step without events, in canonical units. A value that was not announced is absent.
type Totals struct {
	KAP        quantity.Opt[quantity.GraySquareMetre]
	FluoroTime quantity.Opt[quantity.Second]
	// Entrance is the entrance dose at the distance SourceToEntrance; where on the patient that was is not known, so that
	// it is no air kerma at the reference point.
	Entrance         quantity.Opt[quantity.Gray]
	SourceToDetector quantity.Opt[quantity.Millimetre]
	SourceToEntrance quantity.Opt[quantity.Millimetre]
	// Suspicion marks values that are not to be believed.
	Suspicion procedure.Suspicion
}

// Announced are the totals as a step announces them, each in the unit that the standard gives its attribute.
// Source: PS3.3 C.4.16 (Radiation Dose Module): (0018,115E) in dGy cm2, (0040,0300) in s, (0040,8302) in mGy, (0018,1110)
// and (0040,0306) in mm; known from memory.
type Announced struct {
	AreaDoseProduct  quantity.Opt[float64] // (0018,115E) Image and Fluoroscopy Area Dose Product, dGy cm2
	FluoroscopyTime  quantity.Opt[float64] // (0040,0300) Total Time of Fluoroscopy, s
	EntranceDose     quantity.Opt[float64] // (0040,8302) Entrance Dose in mGy
	SourceToDetector quantity.Opt[float64] // (0018,1110) Distance Source to Detector, mm
	SourceToEntrance quantity.Opt[float64] // (0040,0306) Distance Source to Entrance, mm
}

// Totals converts what was announced. A number that is negative or none at all is absent; findings say so.
func (a Announced) Totals() (Totals, []procedure.Finding) {
	var t Totals
	var found []procedure.Finding
	read := func(v quantity.Opt[float64], name, unit string, set func(float64)) {
		x, ok := v.Get()
		switch {
		case !ok:
		case math.IsNaN(x) || math.IsInf(x, 0) || x < 0:
			found = append(found, procedure.Finding{
				Rule: "announced-total-malformed", Severity: procedure.Reduced, Place: name,
				Text: "a number of 0 or more in " + unit + " expected; left out",
			})
		default:
			set(x)
		}
	}
	read(a.AreaDoseProduct, "Image and Fluoroscopy Area Dose Product", "dGy cm2", func(x float64) {
		const perGycm2 = 10 // dGy cm2
		t.KAP = quantity.Some(quantity.GraySquareMetre(x/perGycm2) * quantity.GraySquareCentimetre)
	})
	read(a.FluoroscopyTime, "Total Time of Fluoroscopy", "s", func(x float64) { t.FluoroTime = quantity.Some(quantity.Second(x)) })
	read(a.EntranceDose, "Entrance Dose in mGy", "mGy", func(x float64) { t.Entrance = quantity.Some(quantity.Gray(x) * quantity.MilliGray) })
	read(a.SourceToDetector, "Distance Source to Detector", "mm", func(x float64) { t.SourceToDetector = quantity.Some(quantity.Millimetre(x)) })
	read(a.SourceToEntrance, "Distance Source to Entrance", "mm", func(x float64) { t.SourceToEntrance = quantity.Some(quantity.Millimetre(x)) })
	more := t.judge()
	return t, append(found, more...)
}

// Findings says what is odd about the totals.
func (t Totals) Findings() []procedure.Finding {
	t.Suspicion = 0
	return t.judge()
}

// IsZero tells whether there is no dose total at all.
func (t Totals) IsZero() bool {
	return !t.KAP.Present() && !t.FluoroTime.Present() && !t.Entrance.Present()
}

// Bounds outside of which a unit is suspected. Equipment that takes one unit for another is off by a factor of 10 or 100.
// Source: judgement, around what fluoroscopy-guided procedures deliver: common practice, no source.
const (
	leastRate, mostRate = 0.02, 20.0   // Gy cm2 a minute of fluoroscopy, acquisitions included
	leastArea, mostArea = 10.0, 1000.0 // cm2 of KAP over entrance dose, as for a report
	mostKAP             = 5000.0       // Gy cm2 in one procedure
	shortOfTime         = 6.0          // s below which a rate says nothing
)

// judge marks totals that do not go with each other, as when a unit is wrong by a factor of 10 or 100. Suspicion takes no
// value away: one at or above a level still flags, and a suspect value below it says nothing.
func (t *Totals) judge() []procedure.Finding {
	var found []procedure.Finding
	doubt := func(text string, args ...any) {
		t.Suspicion |= procedure.SuspectKAP
		found = append(found, procedure.Finding{
			Rule: "announced-total-unit", Severity: procedure.Suspect, Place: "Image and Fluoroscopy Area Dose Product",
			Text: fmt.Sprintf(text, args...) + "; a unit may be wrong by a factor of 10 or 100, the value is not believed",
		})
	}
	kap, ok := t.KAP.Get()
	if !ok {
		return nil
	}
	if kap.Gycm2() > mostKAP {
		doubt("the area dose product is above %g Gy cm2", mostKAP)
	}
	if seconds, ok := t.FluoroTime.Get(); ok && seconds > shortOfTime {
		if rate := kap.Gycm2() / seconds.Minutes(); rate < leastRate || rate > mostRate {
			doubt("the area dose product is not %g to %g Gy cm2 a minute of fluoroscopy", leastRate, mostRate)
		}
	}
	if entrance, ok := t.Entrance.Get(); ok && entrance > 0 {
		if area := float64(kap) / float64(entrance) / float64(quantity.SquareCentimetre); area < leastArea || area > mostArea {
			doubt("area dose product over entrance dose is not %g to %g cm2", leastArea, mostArea)
		}
	}
	return found
}

// Finding says what a procedure that is made from totals alone lacks.
func Finding() procedure.Finding {
	return procedure.Finding{
		Rule: "totals-only", Severity: procedure.Reduced, Place: "performed procedure step",
		Text: "totals only, no geometry: no dose report came, the totals are those that the equipment announced with its performed procedure step",
	}
}
