package quirk

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/notebook"
)

const zeroDoseWhileOn = "zero-dose-while-on"

// longEnough is the irradiation from which a displayed dose of zero can be no rounding: displays step by 0.1 mGy or
// less, and a fluoroscopy of one second gives more. Source: common practice, no source.
const longEnough quantity.Second = 1

// repairZeroDose takes a dose of 0 as absent where the other dose of the event is above 0, or the tube was on for a
// second or more. A short event keeps its 0, which is a rounded value.
func repairZeroDose(r *procedure.Report, notes *notebook.Notebook) {
	for i := range r.Events {
		e := &r.Events[i]
		place := notebook.EventPlace(i, e)
		kerma, okKerma := e.RefKerma.Get()
		area, okArea := e.KAP.Get()
		on := max(e.Technique.Duration.Or(0), e.Technique.ExposureTime.Or(0)) >= longEnough
		zeroKerma, zeroArea := okKerma && kerma == 0, okArea && area == 0
		if zeroKerma && (on || area > 0) {
			e.RefKerma = quantity.None[quantity.Gray]()
			notes.Add(zeroDoseWhileOn, procedure.Reduced, place.Of("Dose (RP)"), "dose 0 although there was radiation; taken as absent")
		}
		if zeroArea && (on || kerma > 0) {
			e.KAP = quantity.None[quantity.GraySquareMetre]()
			notes.Add(zeroDoseWhileOn, procedure.Reduced, place.Of("Dose Area Product"), "kerma-area product 0 although there was radiation; taken as absent")
		}
		if (zeroKerma || zeroArea) && !on && kerma <= 0 && area <= 0 {
			notes.Add(zeroDoseWhileOn, procedure.Note, place.Of("Dose (RP)"), "a short event with a dose rounded to 0")
		}
	}
}
