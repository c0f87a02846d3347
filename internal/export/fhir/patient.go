package fhir

import (
	"strings"
	"time"
)

// PatientOf writes a patient record.
func PatientOf(p Person) *Patient {
	r := &Patient{Header: Header{Type: "Patient", ID: p.ID}, Gender: map[string]string{"M": "male", "F": "female", "O": "other"}[p.Sex]}
	if i := assigned(p.Number, p.Issuer, identifierType("MR")); i != nil {
		r.Identifier = []Identifier{*i}
	}
	if n := nameOf(p.Name); n != nil {
		r.Name = []HumanName{*n}
	}
	if _, err := time.Parse(time.DateOnly, p.BirthDate); err == nil {
		r.BirthDate = p.BirthDate
	}
	if p.Survivor != "" && p.Survivor != p.ID {
		r.Link = []PatientLink{{Other: Reference{Reference: "Patient/" + p.Survivor, Type: "Patient"}, Type: "replaced-by"}}
	}
	return r
}

// nameOf takes a DICOM person name apart: family, given, middle, prefix, suffix of its first group (PS3.5, 6.2.1).
func nameOf(name string) *HumanName {
	group, _, _ := strings.Cut(name, "=")
	if clean(strings.ReplaceAll(group, "^", "")) == "" {
		return nil
	}
	part := strings.Split(group, "^")
	for i := range part {
		part[i] = clean(part[i])
	}
	n := &HumanName{Family: part[0]}
	for _, given := range part[1:min(3, len(part))] {
		n.Given = append(n.Given, strings.Fields(given)...)
	}
	n.Text = strings.TrimSpace(strings.Join(append(append([]string{}, n.Given...), n.Family), " "))
	if n.Text == "" {
		n.Text = clean(strings.ReplaceAll(group, "^", " "))
	}
	return n
}
