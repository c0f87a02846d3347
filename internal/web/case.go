package web

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"afterbeam/internal/access"
	"afterbeam/internal/export/casejson"
	"afterbeam/internal/export/skinmap"
	"afterbeam/internal/httpapi"
)

func (s *Site) casePages() []page {
	see := []access.Operation{"getProcedure", "listEstimates", "getLevels"}
	drawn := []access.Operation{"getProcedure", "getMap"}
	facts := append(slices.Clone(see), "addFacts")
	return []page{
		{
			method: http.MethodGet, path: "/cases/:id", title: "case.title", template: caseTemplate, needs: see, scripts: []string{"case.js", "turn.js"},
			serve: func(v *view) (any, error) { return v.caseOf(caseForm{}) },
		},
		{method: http.MethodGet, path: "/cases/:id/skin", needs: drawn, quiet: true, serve: caseSkin},
		{method: http.MethodGet, path: "/cases/:id/map.png", needs: drawn, quiet: true, serve: casePicture},
		{method: http.MethodPost, path: "/cases/:id/acknowledge", needs: []access.Operation{"acknowledgeProcedure"}, serve: acknowledgeCase},
		{method: http.MethodPost, path: "/cases/:id/facts", title: "case.title", template: caseTemplate, needs: facts, scripts: []string{"case.js", "turn.js"}, serve: addCaseFacts},
	}
}

const caseTemplate = "case.html"

// caseData is what the page of a case shows.
type caseData struct {
	httpapi.ProcedureDetail
	// Case is the assessment as the interface gives it.
	Case casejson.Case
	// Tag is the state that facts are added to.
	Tag string
	// Patient is nil for a role that sees no identity.
	Patient *httpapi.Patient
	Start   string // day and time, or the day alone
	Answer  caseAnswer
	Numbers []caseNumber
	Flat    *caseFlat // nil without a map
	NoMap   string    // why there is none
	Line    *caseLine // nil without events
	Events  caseEvents
	Organs  caseOrgans
	Version []httpapi.EstimateVersion
	Facts   []httpapi.Fact
	Form    caseForm
	Told    caseTold
	// May says what this person may do here, by operation.
	May map[string]bool
}

// caseOf gathers what the page shows. Each part is asked only for a role that may see it.
func (v *view) caseOf(form caseForm) (caseData, error) {
	d := caseData{Form: form, May: map[string]bool{}}
	path := "/v1/procedures/" + escape(v.param("id"))
	a, err := v.call(http.MethodGet, path, nil)
	if err != nil {
		return d, err
	}
	if err := json.Unmarshal(a.Body, &d.ProcedureDetail); err != nil {
		return d, fmt.Errorf("answer of %s: %w", path, err)
	}
	if err := json.Unmarshal(d.Assessment, &d.Case); err != nil {
		return d, fmt.Errorf("assessment of %s: %w", path, err)
	}
	d.Tag = a.Header.Get("ETag")
	for _, op := range []access.Operation{
		"getPatient", "getMap", "listEvents", "listEstimates", "listFacts", "addFacts", "listNotices", "acknowledgeProcedure", "getFollowUp", "getOrgans",
	} {
		d.May[string(op)] = v.grant.May(op) == nil
	}
	if d.Numbers, err = v.caseNumbers(&d); err != nil {
		return d, err
	}
	for _, part := range []func(string, *caseData) error{v.casePatient, v.caseMap, v.caseCourse, v.caseHistory, v.caseFollowUp, v.caseOrgans} {
		if err := part(path, &d); err != nil {
			return d, err
		}
	}
	d.Start = v.caseStart(d.Procedure)
	d.Answer = v.caseAnswer(&d)
	return d, nil
}

// caseStart gives when the procedure began: to the minute where that is known.
func (v *view) caseStart(p httpapi.Procedure) string {
	switch {
	case p.Start != nil:
		return v.lang.Moment(p.Start.In(v.site.cfg.Zone))
	case p.LocalDate != nil:
		return *p.LocalDate
	}
	return ""
}

func (v *view) casePatient(_ string, d *caseData) error {
	if !d.May["getPatient"] || d.Procedure.PatientId == "" {
		return nil
	}
	p, err := ask[httpapi.Patient](v, http.MethodGet, "/v1/patients/"+escape(d.Procedure.PatientId), nil)
	if err != nil {
		return err
	}
	d.Patient = &p
	return nil
}

// caseMap asks for the shapes of the flat skin. A case without a map says why.
func (v *view) caseMap(path string, d *caseData) error {
	d.NoMap = d.Case.SkinDose.Reason
	if !d.May["getMap"] {
		d.NoMap = v.lang.Text("case.not_for_role")
		return nil
	}
	flat, err := ask[skinmap.Flat](v, http.MethodGet, path+"/map?format=flat", nil)
	var f *failure
	if errors.As(err, &f) && f.status == http.StatusNotFound {
		return nil
	}
	if err != nil {
		return err
	}
	shown := newCaseFlat(flat)
	d.Flat = &shown
	return nil
}

// caseHistory asks for the versions and the facts.
func (v *view) caseHistory(path string, d *caseData) error {
	list, err := ask[httpapi.EstimateList](v, http.MethodGet, path+"/estimates", nil)
	if err != nil {
		return err
	}
	d.Version = list.Versions
	if !d.May["listFacts"] {
		return nil
	}
	facts, err := ask[httpapi.FactList](v, http.MethodGet, path+"/facts", nil)
	d.Facts = facts.Facts
	return err
}

// caseSkin gives the patches of the skin in space for the version that the page shows.
func caseSkin(v *view) (any, error) {
	answer, err := v.caseMapAs("skin")
	if err != nil || !strings.Contains(v.c.Request().Header.Get("Accept-Encoding"), "gzip") {
		return answer, err
	}
	return v.packed(answer)
}

// packed compresses bytes that come from nobody's typing, so that their length tells nothing.
func (v *view) packed(answer raw) (raw, error) {
	var small bytes.Buffer
	z := gzip.NewWriter(&small)
	if _, err := z.Write(answer.body); err != nil {
		return answer, err
	}
	if err := z.Close(); err != nil {
		return answer, err
	}
	h := v.c.Response().Header()
	h.Set("Content-Encoding", "gzip")
	h.Add("Vary", "Accept-Encoding")
	return raw{answer.contentType, small.Bytes()}, nil
}

// casePicture gives the map as a picture.
func casePicture(v *view) (any, error) { return v.caseMapAs("png") }

func (v *view) caseMapAs(format string) (raw, error) {
	path := "/v1/procedures/" + escape(v.param("id")) + "/map?format=" + format
	if version, err := strconv.Atoi(v.query("version")); err == nil {
		path += "&version=" + strconv.Itoa(version)
	}
	a, err := v.call(http.MethodGet, path, nil)
	if err != nil {
		return raw{}, err
	}
	return raw{a.Header.Get("Content-Type"), a.Body}, nil
}
