package fhir

import (
	"fmt"
	"strconv"
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// asReported goes with the totals.
const asReported = "As the equipment reports it, without correction. Air kerma at the reference point is not the dose of the skin."

// Summary writes the Radiation Dose Summary of a case: one a procedure and equipment. It returns ErrUnmet, saying what is
// missing, when the profile cannot be met.
func Summary(c Case) (*Observation, error) { return writer{Case: c}.summary() }

func (w writer) summary() (*Observation, error) {
	if lacking := w.Unmet(); len(lacking) > 0 {
		return nil, fmt.Errorf("%w: %s", ErrUnmet, strings.Join(lacking, "; "))
	}
	p := w.Assessment.Procedure
	o := &Observation{
		Header:     w.header("Observation", PartSummary, strconv.Itoa(w.Version), w.MadeAt, ProfileSummary),
		Identifier: []Identifier{w.identified(PartSummary)},
		BasedOn:    w.order(), PartOf: w.study(), Status: w.status(false), Code: summaryCode(), Subject: w.subject(), Focus: w.study(),
		EffectiveDateTime: w.start(), Issued: instant(w.MadeAt), Performer: []Reference{practitioner(w.authorizing()[0])},
		Device: w.equipment(), Note: w.remarks(),
	}
	for _, one := range p.ReportUIDs {
		if isUID(one) {
			o.Identifier = append(o.Identifier, uid(one, "sop-instance-uid"))
		}
	}
	xray := dcm("113704", "Projection X-Ray")
	o.Component = []Component{{Code: dcm("121058", "Procedure reported"), ValueCodeableConcept: &xray}}
	totals := totalsOf(p.Totals)
	for _, t := range totals {
		o.Component = append(o.Component, t.component())
	}
	o.ValueString = w.sentence(totals)
	return o, nil
}

// sentence is the human text of the totals: short, with units, and neutral.
func (w writer) sentence(totals []total) string {
	edges := w.Assessment.Levels.Edges()
	text := map[string]func(float64) string{
		"113725": func(v float64) string {
			return "Air kerma at the reference point " + quantity.ShowKerma(quantity.Gray(v)*quantity.MilliGray, edges.Kerma...)
		},
		"113722": func(v float64) string {
			return "kerma-area product " + quantity.ShowKAP(quantity.GraySquareMetre(v)*quantity.GraySquareCentimetre*1e-3, edges.KAP...)
		},
		"113730": func(v float64) string { return "fluoroscopy " + quantity.ShowMinutes(quantity.Second(v)) },
		"113731": func(v float64) string { return "frames " + quantity.Fixed(v, 0) },
	}
	var parts []string
	for _, t := range totals {
		say := text[t.code.Coding[0].Code]
		if v, ok := t.value.Get(); ok && say != nil {
			parts = append(parts, say(v))
		}
	}
	if len(parts) == 0 {
		return "No totals reported."
	}
	joined := strings.Join(parts, "; ")
	return strings.ToUpper(joined[:1]) + joined[1:] + "."
}

// remarks say what is to be known beside the totals.
func (w writer) remarks() []Annotation {
	notes := []Annotation{{asReported}}
	p := w.Assessment.Procedure
	var planes []string
	var doubt procedure.Suspicion
	for _, t := range p.Totals {
		doubt |= t.Suspicion
		if t.Plane != procedure.PlaneAll {
			planes = append(planes, planeText(t))
		}
	}
	if len(planes) > 1 {
		notes = append(notes, Annotation{"Sums of the planes, which is not the dose at one place. " + strings.Join(planes, "; ") + "."})
	}
	if doubt.Has(procedure.SuspectKerma) {
		notes = append(notes, Annotation{"The air kerma contradicts other values of the report and is not believed; it is told as it was reported."})
	}
	if doubt.Has(procedure.SuspectKAP) {
		notes = append(notes, Annotation{"The kerma-area product contradicts other values of the report and is not believed; it is told as it was reported."})
	}
	if w.Announced || w.Replaced {
		notes = append(notes, Annotation{"From totals that the equipment announced for a performed step: no dose report came with them."})
	}
	if w.Replaced {
		notes = append(notes, Annotation{"A dose report came afterwards and stands in place of this."})
	}
	return notes
}

func planeText(t procedure.PlaneTotal) string {
	parts := []string{}
	if v, ok := t.RefKerma.Get(); ok {
		parts = append(parts, quantity.ShowKerma(v))
	}
	if v, ok := t.KAP.Get(); ok {
		parts = append(parts, quantity.ShowKAP(v))
	}
	if len(parts) == 0 {
		parts = append(parts, "no totals")
	}
	return t.Plane.String() + ": " + strings.Join(parts, ", ")
}
