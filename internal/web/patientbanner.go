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

// ofCase gives a case with its banner, and the people whom a page about it names.
func (v *view) ofCase(id string) (c colleagues, p httpapi.Procedure, b banner, err error) {
	if p, err = v.procedure(id); err != nil {
		return c, p, b, err
	}
	if b, err = v.banner(p); err != nil {
		return c, p, b, err
	}
	c, err = v.colleagues()
	return c, p, b, err
}

// followedUp gives the follow-up of a case with its banner, and the people whom a page about it names.
func (v *view) followedUp(id string) (c colleagues, of httpapi.FollowUp, b banner, err error) {
	if c, err = v.colleagues(); err != nil {
		return c, of, b, err
	}
	if of, err = ask[httpapi.FollowUp](v, http.MethodGet, "/v1/procedures/"+escape(id)+"/follow-up", nil); err != nil {
		return c, of, b, err
	}
	b, err = v.banner(of.Procedure)
	return c, of, b, err
}
