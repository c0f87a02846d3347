package fhir

import (
	"fmt"
	"html"
	"strconv"
	"strings"

	"afterbeam/internal/procedure"
)

// Report writes the Radiation Summary Report of a case: summary, indication, pregnancy and estimates under one title. It
// returns ErrUnmet like Summary.
func Report(c Case) (*Composition, error) { return writer{Case: c}.report() }

func (w writer) report() (*Composition, error) {
	summary, err := w.summary()
	if err != nil {
		return nil, err
	}
	status := summary.Status
	if w.Reissued && status == "final" {
		status = "amended"
	}
	own := w.identified(PartReport)
	r := &Composition{
		Header: w.header("Composition", PartReport, strconv.Itoa(w.Version), w.MadeAt), Identifier: &own, Status: status, TypeOf: summaryCode(),
		Subject: w.subject(), Date: instant(w.MadeAt), Author: []Reference{w.program()}, Title: "Radiation summary report",
	}
	code := summaryCode()
	r.Section = []Section{
		{Title: "Radiation dose summary", Code: &code, Text: narrative(summary.ValueString, asReported), Entry: []Reference{w.to("Observation", PartSummary)}},
		w.indication(), w.pregnancy(), w.estimated(),
	}
	return r, nil
}

// program is this program as the author of what it makes.
func (w writer) program() Reference {
	return Reference{Type: "Device", Display: clean("afterbeam " + w.Program)}
}

// indication is empty: a dose report has none.
func (w writer) indication() Section {
	code := dcm("121109", "Indications for Procedure")
	return Section{
		Title: "Indication", Code: &code, Text: narrative("Dose reports hold no indication."),
		EmptyReason: &Concept{Coding: []Coding{{System: systemEmpty, Code: "unavailable"}}},
	}
}

func (w writer) pregnancy() Section {
	code := Concept{Coding: []Coding{{System: systemLOINC, Code: "82810-3", Display: "Pregnancy status"}}}
	said := map[int]string{1: "The report says: not pregnant.", 2: "The report says: possibly pregnant.", 3: "The report says: pregnant."}
	text, known := said[w.Assessment.Procedure.Patient.Pregnancy]
	s := Section{Title: "Pregnancy status", Code: &code}
	if !known {
		text = "The report does not say."
		s.EmptyReason = &Concept{Coding: []Coding{{System: systemEmpty, Code: "unavailable"}}}
	}
	s.Text = narrative(text)
	return s
}

// estimated lists the estimates, which are no part of the summary.
func (w writer) estimated() Section {
	code := own("estimates", "Estimates made from the dose report")
	s := Section{Title: "Estimates", Code: &code}
	lines := []string{}
	for _, part := range w.parts() {
		s.Entry = append(s.Entry, w.to("Observation", part.name))
		line := part.Code.Text + ": "
		switch {
		case part.ValueQuantity != nil:
			span := part.Component[0].ValueRange
			line += fmt.Sprintf("%s %s, range %s to %s", part.ValueQuantity.Value, part.ValueQuantity.Unit, span.Low.Value, span.High.Value)
		case part.DataAbsentReason != nil:
			line += "none, " + part.DataAbsentReason.Text
		default:
			line += "see there"
		}
		lines = append(lines, line)
	}
	s.Text = narrative(append(lines, Caution)...)
	return s
}

// part is an Observation with the name of its part.
type part struct {
	name string
	*Observation
}

// parts gives the estimates with their names.
func (w writer) parts() []part {
	var list []part
	for i, o := range w.estimates() {
		list = append(list, part{Parts()[1+i], o})
	}
	return list
}

// narrative puts lines of text into XHTML; whatever they hold stays text.
func narrative(lines ...string) *Narrative {
	var b strings.Builder
	b.WriteString(`<div xmlns="http://www.w3.org/1999/xhtml">`)
	for _, line := range lines {
		b.WriteString("<p>" + html.EscapeString(clean(line)) + "</p>")
	}
	b.WriteString("</div>")
	return &Narrative{Status: "generated", Div: b.String()}
}

// Change says that resources of a case are no longer what they were told as; nil where nothing final was told before.
func Change(c Case) *Provenance { return writer{Case: c}.change() }

func (w writer) change() *Provenance {
	var targets []Reference
	if s, err := w.summary(); err == nil && s.Status != "final" && s.Status != "preliminary" {
		targets = append(targets, w.to("Observation", PartSummary))
	}
	for _, one := range w.parts() {
		if one.Status != "final" && one.Status != "preliminary" {
			targets = append(targets, w.to("Observation", one.name))
		}
	}
	if len(targets) == 0 {
		return nil
	}
	reason := clean(w.Change)
	if reason == "" && w.Assessment.Procedure.State == procedure.Amended {
		reason = "a later report changed what was complete"
	}
	p := &Provenance{
		Header: w.header("Provenance", PartProvenance, strconv.Itoa(w.Version), w.MadeAt), Target: targets, Recorded: instant(w.MadeAt),
		Activity: &Concept{Coding: []Coding{{System: systemActivity, Code: "UPDATE"}}},
		Agent:    []Agent{{Type: &Concept{Text: "program"}, Who: w.program()}},
	}
	if reason != "" {
		p.Reason = []Concept{{Text: reason}}
	}
	for _, uid := range w.Assessment.Procedure.ReportUIDs {
		if isUID(uid) {
			i := Identifier{System: systemUID, Value: "urn:oid:" + uid}
			p.Entity = append(p.Entity, Entity{Role: "source", What: Reference{Identifier: &i, Display: "dose report"}})
		}
	}
	return p
}
