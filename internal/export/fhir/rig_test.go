package fhir_test

import (
	"encoding/json"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/export/fhir"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/physics/effective"
	"afterbeam/internal/physics/organ"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

var made = time.Date(2026, 9, 14, 12, 0, 0, 0, time.UTC)

// scenario gives the demonstration's procedures, assessed once for all tests. Reports of one study are one procedure.
var scenario = sync.OnceValue(func() []fhir.Case {
	var reports []procedure.Report
	for _, c := range demo.Cases() {
		reports = append(reports, c.Report)
	}
	m := assessment.Default()
	m.MaxPatch = 40 // coarse: the digits are not the matter here
	var all []fhir.Case
	for i, p := range procedure.Merge(reports) {
		d := p.Device
		all = append(all, fhir.Case{
			ID: fmt.Sprintf("case%02d", i), Version: 1, MadeAt: made, Program: "test", Assessment: m.Assess(p, procedure.Facts{}), Accession: p.Study.AccessionNumber,
			Patient: fhir.Person{ID: fmt.Sprintf("patient%02d", i), Number: p.Patient.ID, Issuer: p.Patient.Issuer, Name: p.Patient.Name, BirthDate: p.Patient.BirthDate, Sex: p.Patient.Sex},
			Device: fhir.Equipment{
				ID: fmt.Sprintf("device%02d", i), UID: d.UID, Name: d.Name, Manufacturer: d.Manufacturer, Model: d.Model, Serial: d.Serial, Station: d.Station,
				Room: d.Room, Software: []string{d.Software},
			},
		})
	}
	return all
})

// organs are doses as they would be computed: one with a range, one far from all beams.
func organs() *organ.Doses {
	some := quantity.Some[quantity.Gray]
	return &organ.Doses{
		Version: organ.Version, Method: organ.Method, Caution: organ.Caution, Assumptions: []string{"stylised body"},
		Effective: organ.Effective{Weights: effective.ICRP103, Value: 0.01234, Low: 0.008, High: 0.019},
		Organs: []organ.Dose{
			{Organ: "lungs", Value: some(0.04567), Low: some(0.03), High: some(0.06)},
			{Organ: "skin, mean of the whole", Value: some(0.0123), Low: some(0.01), High: some(0.02)},
			{Organ: "uterus", Below: some(0.00002)},
		},
	}
}

// suitable gives a case that meets the profile, with organ doses.
func suitable(t testing.TB) fhir.Case {
	t.Helper()
	for _, c := range scenario() {
		if len(c.Unmet()) == 0 && c.Assessment.SkinDose.Value.Present() && len(c.Assessment.Procedure.Totals) == 1 {
			c.Organs, c.OrgansAt = organs(), made.Add(time.Minute)
			return c
		}
	}
	t.Fatal("no case of the demonstration meets the profile")
	return fhir.Case{}
}

func text(t testing.TB, v any) string {
	t.Helper()
	b, err := json.MarshalIndent(v, "", "  ")
	require.NoError(t, err)
	return string(b) + "\n"
}

// component finds the component of a code.
func component(o *fhir.Observation, code string) *fhir.Component {
	for i, c := range o.Component {
		for _, one := range c.Code.Coding {
			if one.Code == code {
				return &o.Component[i]
			}
		}
	}
	return nil
}

func said(notes []fhir.Annotation) string {
	all := make([]string, len(notes))
	for i, n := range notes {
		all[i] = n.Text
	}
	return strings.Join(all, "\n")
}
