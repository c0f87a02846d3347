package rdsr

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/notebook"
)

// irradiation reads one irradiation event (TID 10003 with 10003A, B and C).
func (r *reader) irradiation(it item, index int) procedure.Event {
	e := procedure.Event{ReportUID: r.report.SOPInstanceUID, Place: notebook.EventName(index)}
	kids := children(it)
	place := notebook.EventPlace(index, &e)
	if found := kids[identity(conceptPlane())]; len(found) > 0 {
		place.Plane, _ = valueOf(planes(), found[0].code())
	}
	r.retiredTime(kids, place)
	fill(r, r.event, kids, &e, &e.Suspicion, place)
	r.modifiers(kids, &e, place)
	e.Start = r.moment(kids[identity(conceptStarted())], place.Of(conceptStarted().Meaning))
	e.RefPoint = r.referencePoint(kids[identity(conceptRefPoint())], place.Of(conceptRefPoint().Meaning))
	for _, f := range kids[identity(conceptFilters())] {
		e.Filters = append(e.Filters, r.oneFilter(f, place))
	}
	e.Images = r.images(kids[identity(conceptAcquiredImage())])
	e.Persons = participants(kids)
	e.Mechanics.MechanicalDataSaidAbsent = r.report.MechanicalData == procedure.AvailabilityNo
	r.eventIdentity(&e, place)
	return e
}

// eventIdentity looks at the event's UID, start and plane, without which it cannot be told from others.
func (r *reader) eventIdentity(e *procedure.Event, place notebook.Place) {
	switch {
	case e.UID == "":
		r.notes.Add("event-uid", procedure.Reduced, place.Of(conceptEventUID().Meaning), "no event UID; the event is told from others by its start, plane and values")
	case !validUID(e.UID):
		r.notes.Add("event-uid", procedure.Reduced, place.Of(conceptEventUID().Meaning), "no proper UID found; it is kept as it is")
	}
	if e.Start.IsZero() {
		r.notes.Add("event-start", procedure.Reduced, place.Of(conceptStarted().Meaning), "no usable start of the event")
	}
	if e.Plane == procedure.PlaneUnknown {
		r.notes.Add("event-plane", procedure.Reduced, place.Of(conceptPlane().Meaning), "no known acquisition plane")
	}
	if e.Type == procedure.EventUnknown {
		r.notes.Add("event-type", procedure.Reduced, place.Of("Irradiation Event Type"), "no known event type; it counts neither as fluoroscopy nor as acquisition")
	}
}

// modifiers reads the rows one level down. Equipment also writes them beside the row they belong to.
func (r *reader) modifiers(kids map[procedure.Code][]item, e *procedure.Event, place notebook.Place) {
	for _, child := range r.eventKids {
		concept := identity(child.row.concept)
		var found []item
		for _, parent := range kids[identity(child.parent)] {
			for _, sub := range parent.items {
				if identity(sub.name) == concept {
					found = append(found, sub)
				}
			}
		}
		if len(found) == 0 && concept == identity(conceptPosture()) {
			found = kids[concept]
		}
		strict := r.strict
		r.strict = false
		fillCode(r, child.row, found, e, place.Of(child.row.concept.Meaning))
		r.strict = strict
	}
}

// retiredTime lets the retired code of Exposure Time (113735) stand in where the current one is absent.
func (r *reader) retiredTime(kids map[procedure.Code][]item, place notebook.Place) {
	retired := kids[identity(conceptRetiredTime())]
	current := identity(conceptExposureTime())
	if len(retired) == 0 {
		return
	}
	if len(kids[current]) > 0 {
		r.notes.Add("retired-exposure-time", procedure.Note, place.Of(conceptExposureTime().Meaning), "the retired code (113735, DCM) stands beside (113824, DCM); the latter is taken")
		return
	}
	r.notes.Add("retired-exposure-time", procedure.Repaired, place.Of(conceptExposureTime().Meaning), "retired code (113735, DCM) found, (113824, DCM) expected; read as the latter")
	kids[current] = retired
}

// moment reads a DATETIME item, the first of several.
func (r *reader) moment(found []item, at notebook.Place) procedure.Moment {
	if len(found) == 0 {
		return procedure.Moment{}
	}
	r.related(found[0], at)
	m, ok := r.clock.dateTime(found[0].text())
	if !ok {
		r.notes.Add("moment-malformed", procedure.Reduced, at, "a form like 20250131134500.000+0100 expected; left out")
		return procedure.Moment{}
	}
	if m.DateOnly {
		r.notes.Add("date-only", procedure.Reduced, at, "a date without a time of day")
	}
	if doubt := clockDoubt(m, found[0].text()); doubt != "" {
		r.notes.Add("clock-change", procedure.Repaired, at, doubt)
	}
	return m
}

// referencePoint reads the definition of the reference point, which may be a code or free text (XOR in the template).
func (r *reader) referencePoint(found []item, at notebook.Place) procedure.ReferencePoint {
	var p procedure.ReferencePoint
	for _, it := range found {
		r.related(it, at)
		if it.kind == "CODE" && p.Code.IsZero() {
			p.Code = it.code()
		}
		if it.kind == "TEXT" && p.Text == "" {
			p.Text = it.text()
		}
	}
	if !p.Code.IsZero() && p.Text != "" {
		r.notes.Add("reference-point-twice", procedure.Note, at, "the reference point is given by code and by text; the code counts")
	}
	return p
}

func (r *reader) oneFilter(it item, place notebook.Place) procedure.Filter {
	var f procedure.Filter
	fill(r, r.filter, children(it), &f, nil, place)
	return f
}
