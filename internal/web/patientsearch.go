package web

import (
	"net/http"
	"strings"

	"afterbeam/internal/access"
	"afterbeam/internal/followup/paper"
	"afterbeam/internal/httpapi"
)

func (s *Site) patientPages() []page {
	search := []access.Operation{"searchPatients"}
	see := []access.Operation{"getPatient", "getPatientDose", "getLevels"}
	link := []access.Operation{"listLinks", "linkPatients", "unlinkPatients"}
	return []page{
		{method: http.MethodGet, path: "/patients", title: "patients.title", template: "patients.html", needs: search, listed: true, serve: func(*view) (any, error) { return searchData{}, nil }},
		{method: http.MethodPost, path: "/patients", title: "patients.title", template: "patients.html", needs: search, serve: findPatients},
		{method: http.MethodGet, path: "/patients/:id", title: "patient.title", template: "patient.html", needs: see, serve: showPatient},
		{method: http.MethodGet, path: "/patients/:id/skin.svg", needs: []access.Operation{"getPatientMap"}, serve: patientSkin},
		{method: http.MethodGet, path: "/patients/:id/plan", title: "plan.title", template: "plan.html", needs: append(see, "planBeams"), serve: showPlan},
		{method: http.MethodPost, path: "/patients/:id/links", title: "patient.title", template: "patient.html", needs: append(append(see[:3:3], link...), search...), serve: makeLinkOf},
		{method: http.MethodPost, path: "/patients/:id/links/:link/undo", title: "patient.title", template: "patient.html", needs: append(see, link...), serve: undoLink},
	}
}

// searchData is what was looked for and found. The number stands in the body of the answer alone, never in an address.
type searchData struct {
	Number, Issuer string
	Searched       bool
	Found          []person
	Wrong          string
}

// person is a patient record as people read it.
type person struct {
	httpapi.Patient
	Called string // the name as people write it, "" when not known
	Born   string // the birth date, "" when not known
}

func (v *view) personOf(p httpapi.Patient) person {
	return person{p, paper.Called(p.Name), v.day(p.BirthDate)}
}

// findPatients looks for a number with its issuer. One record found is shown at once.
func findPatients(v *view) (any, error) {
	d := searchData{Number: strings.TrimSpace(v.form("number")), Issuer: strings.TrimSpace(v.form("issuer"))}
	if d.Number == "" {
		d.Wrong = v.lang.Text("patients.no_number")
		return shown{http.StatusUnprocessableEntity, d}, nil
	}
	wanted := httpapi.PatientSearch{Number: d.Number}
	if d.Issuer != "" {
		wanted.Issuer = &d.Issuer
	}
	list, err := ask[httpapi.PatientList](v, http.MethodPost, "/v1/patients/search", wanted)
	if err != nil {
		return nil, err
	}
	if len(list.Patients) == 1 {
		return redirect("/patients/" + list.Patients[0].Id), nil
	}
	d.Searched = true
	for _, p := range list.Patients {
		d.Found = append(d.Found, v.personOf(p))
	}
	return d, nil
}
