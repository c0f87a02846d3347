package rdsr

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
)

// root makes the content tree (TID 10001).
func (w *writer) root() dicomio.DataSet {
	r := w.report
	var kids []dicomio.DataSet
	var intent []dicomio.DataSet
	if !r.Intent.IsZero() {
		intent = append(intent, w.coded(hasModifier, conceptIntent(), r.Intent))
	}
	kids = append(kids, w.coded(hasModifier, conceptProcedure(), projectionXRay(), intent...))
	kids = append(kids, w.deviceObserver()...)
	observers, participant := roles(r.Persons)
	for _, p := range observers {
		kids = append(kids, w.personObserver(p)...)
	}
	kids = append(kids, w.scope()...)
	for _, row := range rootCodes() {
		if row.concept != conceptScope() && row.concept != conceptSource() {
			kids = append(kids, w.codedItems(contains, row.concept, row.get(r))...)
		}
	}
	for i := range r.Planes {
		kids = append(kids, w.planeTotal(&r.Planes[i]))
	}
	for i := range r.Events {
		kids = append(kids, w.irradiation(&r.Events[i]))
	}
	if r.Comment != "" {
		kids = append(kids, w.text(contains, "TEXT", conceptComment(), r.Comment))
	}
	for _, image := range r.DoseImages {
		kids = append(kids, w.image(conceptDoseImage(), image))
	}
	for _, p := range participant {
		kids = append(kids, w.participant(p))
	}
	kids = append(kids, w.codedItems(contains, conceptSource(), r.Sources)...)
	template := dicomio.DataSet{element(tagMappingResource, "CS", "DCMR"), element(tagTemplateID, "CS", "10001")}
	return dicomio.DataSet{
		element(tagValueType, "CS", "CONTAINER"),
		sequence(tagConceptName, w.code(conceptReport())),
		element(tagContinuity, "CS", "SEPARATE"),
		sequence(tagTemplate, template),
		sequence(tagContent, kids...),
	}
}

func (w *writer) codedItems(relation string, concept procedure.Code, values []procedure.Code) []dicomio.DataSet {
	var out []dicomio.DataSet
	for _, c := range values {
		out = append(out, w.coded(relation, concept, c))
	}
	return out
}

// scope makes Scope of Accumulation with the UID of what was accumulated over.
func (w *writer) scope() []dicomio.DataSet {
	c, ok := codeOf(scopes(), w.report.Scope)
	if !ok {
		return nil
	}
	var kids []dicomio.DataSet
	if name, ok := codeOf(scopeUIDs(), w.report.Scope); ok && w.report.ScopeUID != "" {
		kids = append(kids, w.text(hasProperties, "UIDREF", name, w.report.ScopeUID))
	}
	return []dicomio.DataSet{w.coded(hasContext, conceptScope(), c, kids...)}
}

// deviceObserver makes the device's rows of TID 1002 and 1004.
func (w *writer) deviceObserver() []dicomio.DataSet {
	d := w.report.Device
	if d.UID == "" {
		return nil
	}
	out := []dicomio.DataSet{w.coded(hasContext, conceptObserverType(), observerDevice())}
	for _, row := range deviceTexts() {
		if text := *row.at(&d); text != "" {
			out = append(out, w.text(hasContext, row.kind, row.concept, text))
		}
	}
	return append(out, w.coded(hasContext, conceptDeviceRole(), irradiatingDevice()))
}

// isObserver tells whether a person is written as an observer (TID 1003); one with an issuer, or an identifier without
// a role, fits only a participant (TID 1020).
func isObserver(p procedure.Person) bool {
	return p.Issuer == "" && (p.ID == "" || !p.RoleInProcedure.IsZero() && p.Login != "")
}

// roles deals the persons of a report out to the rows that take them. TID 10001 has one participant; all others are
// observers, who keep their identifier beside their role but no issuer.
func roles(persons []procedure.Person) (observers, participant []procedure.Person) {
	for _, p := range persons {
		if !isObserver(p) && len(participant) == 0 {
			participant = append(participant, p)
			continue
		}
		observers = append(observers, p)
	}
	return observers, participant
}

func (w *writer) personObserver(p procedure.Person) []dicomio.DataSet {
	out := []dicomio.DataSet{w.coded(hasContext, conceptObserverType(), observerPerson())}
	for _, row := range observerTexts() {
		if text := *row.at(&p); text != "" || row.kind == "PNAME" {
			out = append(out, w.text(hasContext, row.kind, row.concept, text))
		}
	}
	for _, row := range observerCodes() {
		var kids []dicomio.DataSet
		if row.concept == conceptRoleHere() && p.ID != "" {
			kids = append(kids, w.text(hasContext, "TEXT", conceptRoleID(), p.ID))
		}
		for _, c := range row.get(&p) {
			out = append(out, w.coded(hasContext, row.concept, c, kids...))
		}
	}
	return out
}

// participant makes TID 1020.
func (w *writer) participant(p procedure.Person) dicomio.DataSet {
	var kids []dicomio.DataSet
	for _, row := range participantCodes() {
		kids = append(kids, w.codedItems(hasProperties, row.concept, row.get(&p))...)
	}
	for _, row := range participantTexts() {
		if text := *row.at(&p); text != "" {
			kids = append(kids, w.text(hasProperties, row.kind, row.concept, text))
		}
	}
	return w.text(contains, "PNAME", conceptPersonName(), p.Name, kids...)
}

// measured makes the NUM items of a form. A row without a value is written as unknown when required says so.
func measured[O any](w *writer, rows []numberRow[O], o *O, required func(procedure.Code) bool, kids map[procedure.Code][]dicomio.DataSet) []dicomio.DataSet {
	var out []dicomio.DataSet
	for _, row := range rows {
		values := row.get(o)
		if len(values) == 0 && required(row.concept) {
			out = append(out, w.unknown(row.concept))
		}
		for _, v := range values {
			out = append(out, w.number(row.concept, row.measure, v, kids[row.concept]...))
		}
	}
	return out
}

func never(procedure.Code) bool { return false }

// irradiation makes TID 10003 with 10003A, B and C.
func (w *writer) irradiation(e *procedure.Event) dicomio.DataSet {
	modifiers := map[procedure.Code][]dicomio.DataSet{}
	for _, child := range eventChildCodes() {
		modifiers[child.parent] = append(modifiers[child.parent], w.codedItems(hasModifier, child.row.concept, child.row.get(e))...)
	}
	kids := w.eventCodes(e, modifiers)
	for _, row := range eventTexts() {
		if text := *row.at(e); text != "" {
			kids = append(kids, w.text(contains, row.kind, row.concept, text, modifiers[row.concept]...))
		}
	}
	if !e.Start.IsZero() {
		kids = append(kids, w.text(contains, "DATETIME", conceptStarted(), w.dateTime(e.Start)))
	}
	required := func(c procedure.Code) bool {
		return w.report.SourceData != procedure.AvailabilityNo && (c.Is("122130", "DCM") || c.Is("113738", "DCM"))
	}
	kids = append(kids, measured(w, eventNumbers(), e, required, modifiers)...)
	kids = append(kids, w.referencePoint(e.RefPoint)...)
	for i := range e.Filters {
		kids = append(kids, w.oneFilter(&e.Filters[i]))
	}
	for _, image := range e.Images {
		kids = append(kids, w.image(conceptAcquiredImage(), image))
	}
	for _, p := range e.Persons {
		kids = append(kids, w.participant(p))
	}
	return w.container(conceptEvent(), kids)
}

func (w *writer) eventCodes(e *procedure.Event, modifiers map[procedure.Code][]dicomio.DataSet) []dicomio.DataSet {
	var kids []dicomio.DataSet
	for _, row := range eventCodes() {
		relation := contains
		if row.concept == conceptPlane() {
			relation = hasModifier
		}
		values := row.get(e)
		// The modifier needs its row; somebody supine or prone lies down.
		if row.concept == conceptAttitude() && len(values) == 0 && len(modifiers[row.concept]) > 0 {
			values = []procedure.Code{sct("102538003", "recumbent")}
		}
		for _, c := range values {
			kids = append(kids, w.coded(relation, row.concept, c, modifiers[row.concept]...))
		}
	}
	return kids
}

func (w *writer) referencePoint(p procedure.ReferencePoint) []dicomio.DataSet {
	switch {
	case !p.Code.IsZero():
		return []dicomio.DataSet{w.coded(contains, conceptRefPoint(), p.Code)}
	case p.Text != "":
		return []dicomio.DataSet{w.text(contains, "TEXT", conceptRefPoint(), p.Text)}
	}
	return nil
}

func (w *writer) oneFilter(f *procedure.Filter) dicomio.DataSet {
	var kids []dicomio.DataSet
	for _, row := range filterCodes() {
		kids = append(kids, w.codedItems(contains, row.concept, row.get(f))...)
	}
	return w.container(conceptFilters(), append(kids, measured(w, filterNumbers(), f, never, nil)...))
}

// planeTotal makes TID 10002 with 10004, 10006 and 10007.
func (w *writer) planeTotal(t *procedure.PlaneTotal) dicomio.DataSet {
	var kids []dicomio.DataSet
	for _, row := range totalCodes() {
		relation := contains
		if row.concept == conceptPlane() {
			relation = hasModifier
		}
		kids = append(kids, w.codedItems(relation, row.concept, row.get(t))...)
	}
	for i := range t.Calibrations {
		kids = append(kids, w.oneCalibration(&t.Calibrations[i]))
	}
	kids = append(kids, measured(w, totalNumbers(), t, w.requiredTotal(), nil)...)
	return w.container(conceptTotals(), append(kids, w.referencePoint(t.RefPoint)...))
}

// requiredTotal tells which totals TID 10004 and 10007 want: KAP always, air kerma and acquisition unless the only source
// is the performed procedure step, fluoroscopy where there is any.
func (w *writer) requiredTotal() func(procedure.Code) bool {
	stepOnly := len(w.report.Sources) > 0
	for _, s := range w.report.Sources {
		stepOnly = stepOnly && s.Is("113858", "DCM")
	}
	fluoro := false
	for i := range w.report.Events {
		fluoro = fluoro || w.report.Events[i].Type == procedure.Fluoroscopy
	}
	system := w.report.DeviceKind.IsZero() || w.report.DeviceKind.Is("113957", "DCM")
	return func(c procedure.Code) bool {
		switch c.Value {
		case "113722":
			return !w.report.DeviceKind.Is("113959", "DCM")
		case "113725":
			return !stepOnly && !w.report.DeviceKind.Is("113959", "DCM")
		case "113726", "113728", "113730":
			return system && fluoro && (!stepOnly || c.Value != "113728")
		case "113727", "113729", "113855":
			return system && !stepOnly
		}
		return false
	}
}

func (w *writer) oneCalibration(c *procedure.Calibration) dicomio.DataSet {
	var kids []dicomio.DataSet
	for _, row := range calibrationCodes() {
		kids = append(kids, w.codedItems(hasModifier, row.concept, row.get(c))...)
	}
	if !c.When.IsZero() {
		kids = append(kids, w.text(contains, "DATETIME", conceptCalibrated(), w.dateTime(c.When)))
	}
	kids = append(kids, measured(w, calibrationNumbers(), c, never, nil)...)
	for _, row := range calibrationTexts() {
		if text := *row.at(c); text != "" {
			kids = append(kids, w.text(contains, row.kind, row.concept, text))
		}
	}
	return w.container(conceptCalibration(), kids)
}
