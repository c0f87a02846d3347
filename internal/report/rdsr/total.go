package rdsr

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/notebook"
)

// planeTotal reads the accumulated dose of one plane (TID 10002 with 10004, 10006 and 10007).
func (r *reader) planeTotal(it item) procedure.PlaneTotal {
	var t procedure.PlaneTotal
	kids := children(it)
	place := notebook.TotalPlace(&t)
	if found := kids[identity(conceptPlane())]; len(found) > 0 {
		place.Plane, _ = valueOf(planes(), found[0].code())
	} else {
		r.notes.Add("total-plane", procedure.Reduced, place, "no acquisition plane")
	}
	fill(r, r.total, kids, &t, &t.Suspicion, place)
	t.RefPoint = r.referencePoint(kids[identity(conceptRefPoint())], place.Of(conceptRefPoint().Meaning))
	for _, sub := range kids[identity(conceptCalibration())] {
		t.Calibrations = append(t.Calibrations, r.oneCalibration(sub, place))
	}
	return t
}

// oneCalibration reads a calibration entry. Its factor is shown and never applied: until 2016 the standard called it
// already applied, since then a factor that values can be multiplied with.
func (r *reader) oneCalibration(it item, place notebook.Place) procedure.Calibration {
	var c procedure.Calibration
	kids := children(it)
	fill(r, r.calibration, kids, &c, nil, place)
	c.When = r.moment(kids[identity(conceptCalibrated())], place.Of(conceptCalibrated().Meaning))
	if f, ok := c.Factor.Get(); ok && f != 1 {
		r.notes.Addf("calibration-factor", procedure.Note, place.Of("Calibration Factor"), "factor %g is shown and not applied: whether the values contain it already is not known", f)
	}
	return c
}
