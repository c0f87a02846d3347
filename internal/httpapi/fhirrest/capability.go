package fhirrest

import (
	"net/http"
	"slices"
	"strings"

	"afterbeam/internal/export/fhir"
	"afterbeam/internal/store"
)

// tableOf is the day on which what is offered was changed last.
const tableOf = "2026-11-25"

const documentation = "Read-only. Resources are made from stored dose reports and their newest estimates when they are asked for; older versions are not " +
	"given. A dose summary holds what equipment totals and nothing else; estimates are Observations of their own, derived from it, with method, range and " +
	"caution. Patients, practitioners and studies are referred to by identifier; practitioners and studies are no resources here. A procedure whose report " +
	"lacks what the profile of the dose summary demands has none, and an OperationOutcome says so. Irradiation of test objects is left out. Profiles were " +
	"checked by rules of our own, not by the publisher's validator. All of one procedure as a transaction: GET /v1/procedures/{id}/fhir."

// capabilities answers with what there is.
func (s *Server) capabilities(w http.ResponseWriter, r *http.Request, c Call) error {
	for name := range r.URL.Query() {
		if name != "_format" {
			return refuse(store.ErrInvalid, "this takes no parameter but _format")
		}
	}
	if err := acceptable(r, r.URL.Query().Get("_format")); err != nil {
		return err
	}
	statement := s.Capabilities()
	statement.Implementation.URL = s.place(r, "")
	if !strings.HasPrefix(statement.Implementation.URL, "http") {
		statement.Implementation.URL = ""
	}
	return write(w, statement)
}

// Capabilities says what the interface does, from the table that its routes come from.
func (s *Server) Capabilities() *fhir.CapabilityStatement {
	rest := fhir.Rest{
		Mode: "server", Documentation: documentation,
		Security: &fhir.Security{Description: "A bearer token (RFC 6750) of an account, as for the rest of the interface; rights and rooms are those of the account, and views are audited."},
	}
	for _, op := range s.Operations() {
		if op.Resource == "" {
			continue
		}
		at := slices.IndexFunc(rest.Resource, func(r fhir.RestResource) bool { return r.Type == op.Resource })
		if at < 0 {
			at = len(rest.Resource)
			rest.Resource = append(rest.Resource, described(op.Resource))
		}
		rest.Resource[at] = with(rest.Resource[at], op)
	}
	return &fhir.CapabilityStatement{
		Header: fhir.Header{Type: "CapabilityStatement"}, Status: "active", Date: tableOf, KindOf: "instance", FHIRVersion: "4.0.1", Format: []string{"json"},
		Software:       &fhir.Software{Name: "afterbeam", Version: s.cfg.Version},
		Implementation: fhir.Implementation{Description: "Doses of fluoroscopically guided procedures, and estimates made from them"}, Rest: []fhir.Rest{rest},
	}
}

// described says what holds of a type of resources whatever is done with it.
func described(resource string) fhir.RestResource {
	r := fhir.RestResource{Type: resource, Versioning: "no-version"}
	switch resource {
	case "Observation":
		r.Versioning, r.ConditionalRead, r.SupportedProfile = "versioned", "not-match", []string{fhir.ProfileSummary}
	case "Composition", "Provenance":
		r.Versioning, r.ConditionalRead = "versioned", "not-match"
	}
	return r
}

// with adds an operation.
func with(r fhir.RestResource, op Operation) fhir.RestResource {
	at := slices.IndexFunc(r.Interaction, func(i fhir.Interaction) bool { return i.Code == op.Interaction })
	if at < 0 {
		r.Interaction = append(r.Interaction, fhir.Interaction{Code: op.Interaction, Documentation: op.Text})
	} else {
		r.Interaction[at].Documentation += " " + op.Text
	}
	for _, p := range op.parameters {
		if p.kind == "" || p.text == "" || slices.ContainsFunc(r.SearchParam, func(known fhir.SearchParam) bool { return known.Name == p.param() }) {
			continue
		}
		r.SearchParam = append(r.SearchParam, fhir.SearchParam{Name: p.param(), Type: p.kind, Documentation: p.text})
	}
	return r
}
