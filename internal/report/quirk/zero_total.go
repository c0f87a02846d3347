package quirk

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/notebook"
)

const zeroTotal = "zero-total"

// repairZeroTotal takes a total of 0 as absent where the events of the plane, or another total of it, show that there
// was something to add up.
func repairZeroTotal(r *procedure.Report, notes *notebook.Notebook) {
	for i := range r.Planes {
		t := &r.Planes[i]
		s := sumsOf(r, t.Plane)
		place := notebook.TotalPlace(t)
		fluoro := t.FluoroTime.Or(0) >= longEnough
		on := fluoro || t.AcquisitionTime.Or(0) >= longEnough
		dropZero(&t.RefKerma, on || s.kerma > 0 || t.KAP.Or(0) > 0, notes, place.Of("Dose (RP) Total"))
		dropZero(&t.KAP, on || s.area > 0 || t.RefKerma.Or(0) > 0, notes, place.Of("Dose Area Product Total"))
		dropZero(&t.FluoroKerma, fluoro || s.fluoroKerma > 0 || t.FluoroKAP.Or(0) > 0, notes, place.Of("Fluoro Dose (RP) Total"))
		dropZero(&t.FluoroKAP, fluoro || s.fluoroArea > 0 || t.FluoroKerma.Or(0) > 0, notes, place.Of("Fluoro Dose Area Product Total"))
		dropZero(&t.FluoroTime, s.fluoroTime > 0, notes, place.Of("Total Fluoro Time"))
		dropZero(&t.AcquisitionKerma, s.kerma > s.fluoroKerma || t.AcquisitionKAP.Or(0) > 0, notes, place.Of("Acquisition Dose (RP) Total"))
		dropZero(&t.AcquisitionKAP, s.area > s.fluoroArea || t.AcquisitionKerma.Or(0) > 0, notes, place.Of("Acquisition Dose Area Product Total"))
		dropZero(&t.AcquisitionTime, s.otherTime > 0, notes, place.Of("Total Acquisition Time"))
	}
}

func dropZero[T ~float64](at *quantity.Opt[T], something bool, notes *notebook.Notebook, place notebook.Place) {
	if v, ok := at.Get(); ok && v == 0 && something {
		*at = quantity.None[T]()
		notes.Add(zeroTotal, procedure.Reduced, place, "total 0 although there was something to add up; taken as absent")
	}
}

// sums are what the events of one plane add up to, in Gy, Gy m2 and s.
type sums struct{ kerma, area, fluoroKerma, fluoroArea, fluoroTime, otherTime float64 }

func sumsOf(r *procedure.Report, plane procedure.Plane) sums {
	var s sums
	for i := range r.Events {
		e := &r.Events[i]
		if plane != procedure.PlaneAll && e.Plane != plane {
			continue
		}
		s.kerma += float64(e.RefKerma.Or(0))
		s.area += float64(e.KAP.Or(0))
		switch e.Type {
		case procedure.Fluoroscopy:
			s.fluoroKerma += float64(e.RefKerma.Or(0))
			s.fluoroArea += float64(e.KAP.Or(0))
			s.fluoroTime += float64(e.Technique.Duration.Or(0))
		case procedure.Stationary, procedure.Stepping, procedure.Rotational:
			s.otherTime += float64(e.Technique.Duration.Or(0))
		case procedure.EventUnknown:
		}
	}
	return s
}
