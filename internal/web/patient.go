package web

import (
	"net/http"
	"slices"
	"strings"
	"time"

	"afterbeam/internal/httpapi"
)

// patientData is what a patient has received so far.
type patientData struct {
	Patient person
	// Rows are the procedures that the person may see, newest first; Elsewhere counts the others.
	Rows      []caseRow
	Elsewhere int
	Line      timeline
	Reviews   []string
	Lacking   []httpapi.UnassessedProcedure
	AsOf      string
	Windows   []windowRow
	Skin      skinTogether
	// HasMap tells that a procedure has a map, so that there is a picture of all.
	HasMap, MayPlan, MayLink bool
	Links                    []linkRow
	// Candidates are the records that were found to link with, where there is more than one.
	Candidates []person
	Typed      typed
	Wrong      string
}

// linkRow is a link between two records of one patient.
type linkRow struct {
	httpapi.Link
	Other string // the id of the other record
}

func showPatient(v *view) (any, error) { return v.patient("") }

func (v *view) patient(wrong string) (patientData, error) {
	d := patientData{Wrong: wrong, Typed: v.typed(), MayPlan: v.grant.May("planBeams") == nil, MayLink: v.grant.May("unlinkPatients") == nil}
	path := "/v1/patients/" + v.param("id")
	p, err := ask[httpapi.Patient](v, http.MethodGet, path, nil)
	if err != nil {
		return d, err
	}
	d.Patient = v.personOf(p)
	dose, err := ask[httpapi.CumulativeDose](v, http.MethodGet, path+"/dose", nil)
	if err != nil {
		return d, err
	}
	e, err := v.edges()
	if err != nil {
		return d, err
	}
	for _, c := range slices.Backward(dose.Procedures) {
		d.Rows = append(d.Rows, rowOf(c, e))
	}
	d.Reviews, d.Lacking, d.AsOf, d.Elsewhere, d.HasMap = dose.IdentityReviews, dose.WithoutAssessment, v.day(dose.AsOf), dose.Elsewhere, dose.LatestMap != nil
	for _, w := range dose.Windows {
		d.Windows = append(d.Windows, v.windowOf(w, e))
		if w.Days == nil {
			d.Skin = v.skinOf(w, dose.Procedures, e)
		}
	}
	d.Line = v.timelineOf(dose)
	if v.grant.May("listLinks") == nil {
		d.Links, err = v.links(p.Id)
	}
	return d, err
}

// links lists the links of a record.
func (v *view) links(id string) ([]linkRow, error) {
	list, err := ask[httpapi.LinkList](v, http.MethodGet, "/v1/patients/"+id+"/links", nil)
	var rows []linkRow
	for _, l := range list.Links {
		row := linkRow{l, l.FromPatient}
		if row.Other == id {
			row.Other = l.IntoPatient
		}
		rows = append(rows, row)
	}
	return rows, err
}

// makeLinkOf says that another record is the same patient: the one that was chosen, or the only one of a number. Its number
// stands in the body alone.
func makeLinkOf(v *view) (any, error) {
	id, other := v.param("id"), v.text("other")
	again := func(wrong string, found []person) (any, error) {
		d, err := v.patient(wrong)
		d.Candidates = found
		return shown{http.StatusUnprocessableEntity, d}, err
	}
	if other == "" {
		list, err := ask[httpapi.PatientList](v, http.MethodPost, "/v1/patients/search", httpapi.PatientSearch{Number: v.text("number"), Issuer: v.optional("issuer")})
		if err != nil {
			return v.answered(err, "", func(wrong string) (any, error) { return v.patient(wrong) })
		}
		var found []person
		for _, p := range list.Patients {
			if p.Id != id {
				found = append(found, v.personOf(p))
			}
		}
		switch len(found) {
		case 0:
			return again(v.lang.Text("patient.no_other"), nil)
		case 1:
			other = found[0].Id
		default:
			return again(v.lang.Text("patient.several"), found)
		}
	}
	_, err := v.call(http.MethodPost, "/v1/patients/"+id+"/links", httpapi.LinkRequest{OtherPatient: other, Reason: v.text("reason")})
	return v.answered(err, "/patients/"+id+"?done=link-made", func(wrong string) (any, error) { return v.patient(wrong) })
}

// undoLink takes a link of the record back, with a reason.
func undoLink(v *view) (any, error) {
	id, reason := v.param("id"), strings.TrimSpace(v.form("reason"))
	if reason == "" {
		d, err := v.patient(v.lang.Text("patient.undo_why"))
		return shown{http.StatusUnprocessableEntity, d}, err
	}
	own, err := v.links(id)
	if err != nil {
		return nil, err
	}
	if !slices.ContainsFunc(own, func(l linkRow) bool { return l.Id == v.param("link") }) {
		return nil, &failure{status: http.StatusNotFound}
	}
	_, err = v.call(http.MethodPost, "/v1/links/"+v.param("link")+"/undo", httpapi.ReasonRequest{Reason: reason})
	return redirect("/patients/" + id + "?done=link-undone"), err
}

// patientSkin gives the picture of what all procedures left on the skin.
func patientSkin(v *view) (any, error) {
	a, err := v.call(http.MethodGet, "/v1/patients/"+v.param("id")+"/map?format=svg", nil)
	if err != nil {
		return nil, err
	}
	return raw{a.Header.Get("Content-Type"), a.Body}, nil
}

// day writes a local day such as 2026-09-14 as the language does; what is no such day stays as it is.
func (v *view) day(text string) string {
	for _, form := range []string{time.DateOnly, "20060102"} {
		if t, err := time.Parse(form, text); err == nil {
			return v.lang.Date(t)
		}
	}
	return text
}
