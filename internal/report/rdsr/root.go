package rdsr

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/notebook"
)

// root reads the direct children of the document title (TID 10001).
func (r *reader) root() {
	kids := children(r.tree)
	fill(r, r.top, kids, r.report, nil, notebook.Place{})
	r.listEvidence()
	r.report.DoseImages = r.images(kids[identity(conceptDoseImage())])
	r.reported(kids)
	r.scopeUID(kids)
	r.report.Persons = append(r.report.Persons, participants(kids)...)
	for _, it := range kids[identity(conceptTotals())] {
		r.report.Planes = append(r.report.Planes, r.planeTotal(it))
	}
	r.strict = true
	for _, it := range kids[identity(conceptEvent())] {
		r.report.Events = append(r.report.Events, r.irradiation(it, len(r.report.Events)))
	}
	r.strict = false
	r.age()
}

// reported reads Procedure reported and its intent.
func (r *reader) reported(kids map[procedure.Code][]item) {
	found := kids[identity(conceptProcedure())]
	if len(found) == 0 {
		r.notes.Add("procedure-reported", procedure.Note, notebook.Place{}, "no procedure reported; read as projection X-ray")
		return
	}
	if c := found[0].code(); identity(c) != identity(projectionXRay()) {
		r.notes.Addf("procedure-reported", procedure.Note, named(conceptProcedure().Meaning), "code %s of scheme %s found, (113704, DCM) expected", shown(c.Value), shown(c.Scheme))
	}
	if it, ok := found[0].first(conceptIntent()); ok {
		r.report.Intent = it.code()
	}
	if r.report.Intent.Is("113680", "DCM") {
		r.report.Purpose = procedure.PurposeQualityControl
		r.notes.Add("quality-control", procedure.Note, notebook.Place{}, "the intent is quality control: no patient")
	}
}

// scopeUID reads the UID of what the totals were accumulated over, the one child of Scope of Accumulation.
func (r *reader) scopeUID(kids map[procedure.Code][]item) {
	found := kids[identity(conceptScope())]
	if len(found) == 0 {
		r.notes.Add("scope", procedure.Reduced, notebook.Place{}, "no scope of accumulation; whether more reports belong to the case is not known")
		return
	}
	for _, sub := range found[0].items {
		if sub.kind == "UIDREF" {
			r.report.ScopeUID = sub.text()
		}
	}
	if r.report.Scope == procedure.ScopeToThisPoint {
		r.notes.Add("scope", procedure.Note, notebook.Place{}, "the report covers the procedure step to this point; later reports may hold the same events again")
	}
}

// started gives the moment the age is reckoned for: the first event, else the study, else the content.
func (r *reader) started() procedure.Moment {
	var first procedure.Moment
	for i := range r.report.Events {
		m := r.report.Events[i].Start
		if !m.IsZero() && (first.IsZero() || m.Time.Before(first.Time)) {
			first = m
		}
	}
	for _, m := range []procedure.Moment{r.report.Study.Date, r.report.Content} {
		if first.IsZero() {
			first = m
		}
	}
	return first
}
