package web

import (
	"errors"
	"net/http"
	"strconv"
	"strings"

	"afterbeam/internal/export/casejson"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/procedure/lexicon"
)

// acknowledgeCase says that the person has seen the version that the page showed.
func acknowledgeCase(v *view) (any, error) {
	var seen httpapi.AcknowledgeRequest
	if version, err := strconv.Atoi(v.form("version")); err == nil {
		seen.Version = &version
	}
	id := escape(v.param("id"))
	_, err := v.call(http.MethodPost, "/v1/procedures/"+id+"/acknowledge", seen)
	return redirect("/cases/" + id + "?done=acknowledged"), err
}

// caseForm is what was typed into the form of facts, by field, with what is wrong about it.
type caseForm struct {
	Values map[string]string
	Wrong  string
}

// Get gives a field as it was typed.
func (f caseForm) Get(name string) string { return f.Values[name] }

// Classes are the procedure classes that one may choose from.
func (caseForm) Classes() []lexicon.Class { return lexicon.Classes() }

// factNumbers are the fields of numbers and factWords those with words that the interface knows.
func factNumbers() []string {
	return []string{"height_cm", "weight_kg", "age_years", "table_offset_mm"}
}

func factWords() []string { return []string{"class", "direction", "posture", "arms"} }

// addCaseFacts adds facts. What the interface refuses is shown beside the form with what was typed.
func addCaseFacts(v *view) (any, error) {
	form := caseForm{Values: map[string]string{}}
	body := map[string]any{}
	for _, name := range factNumbers() {
		text := strings.TrimSpace(v.form(name))
		form.Values[name] = text
		if text == "" {
			continue
		}
		n, err := number(text)
		if err != nil {
			form.Wrong = v.lang.Text("case.not_a_number", "field", v.lang.Text("case.fact."+name))
		}
		body[name] = n
	}
	for _, name := range append(factWords(), "source", "reason") {
		text := strings.TrimSpace(v.form(name))
		form.Values[name] = text
		if text != "" {
			body[name] = text
		}
	}
	form.Values["tag"] = v.form("tag")
	id := escape(v.param("id"))
	if form.Wrong == "" {
		_, err := v.call(http.MethodPatch, "/v1/procedures/"+id+"/facts", body, "If-Match", v.form("tag"))
		if err == nil {
			return redirect("/cases/" + id + "?done=facts-added"), nil
		}
		if form.Wrong = v.refusedFacts(err); form.Wrong == "" {
			return nil, err
		}
	}
	d, err := v.caseOf(form)
	return shown{http.StatusUnprocessableEntity, d}, err
}

// refusedFacts words why facts were not taken, "" for what is not about the form.
func (v *view) refusedFacts(err error) string {
	var f *failure
	if !errors.As(err, &f) {
		return ""
	}
	switch f.status {
	case http.StatusBadRequest, http.StatusUnprocessableEntity:
		return v.lang.Text("case.refused", "detail", f.detail)
	case http.StatusPreconditionFailed, http.StatusConflict:
		return v.lang.Text("case.stale")
	}
	return ""
}

// Given tells whether a person said something in place of the report.
func (d caseData) Given() []string { return d.Case.Procedure.Given }

// Findings are what was odd, missing or repaired.
func (d caseData) Findings() []casejson.Finding { return d.Case.Findings }
