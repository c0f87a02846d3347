package web

import (
	"net/http"

	"afterbeam/internal/httpapi"
)

// banner is whose case a page is about, for the head of every printed sheet.
type banner struct {
	Patient   httpapi.Patient
	Procedure httpapi.Procedure
}

func (v *view) banner(p httpapi.Procedure) (banner, error) {
	b := banner{Procedure: p}
	var err error
	b.Patient, err = ask[httpapi.Patient](v, http.MethodGet, "/v1/patients/"+p.PatientId, nil)
	return b, err
}

// procedure gives the case of the page's address.
func (v *view) procedure(id string) (httpapi.Procedure, error) {
	d, err := ask[httpapi.ProcedureDetail](v, http.MethodGet, "/v1/procedures/"+escape(id), nil)
	return d.Procedure, err
}
