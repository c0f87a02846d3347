package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"

	"afterbeam/internal/access"
	"afterbeam/internal/demo"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/settings"
)

// demoSite is what the demonstration's centre says of itself; all of it is invented.
func demoSite() settings.Site {
	return settings.Site{
		Centre: demo.Centre, Department: "Vascular department (synthetic)", Phone: "000 555 0100", Hours: "Monday to Friday, 8 to 16, invented",
		Address: []string{"1 Tidemill Road (invented)", "Saltmarsh"}, Language: "en", PaperSize: "a4",
	}
}

// papers has the papers of the newest procedure of the staged repair made by the service and writes them as PDF and HTML.
func (d *demoService) papers(ctx context.Context, p *printer, dir string) error {
	if err := os.Mkdir(dir, 0o700); err != nil {
		return fmt.Errorf("make folder of papers: %w", err)
	}
	id, err := d.newest(ctx, demo.StagedPatient)
	if err != nil {
		return err
	}
	p.say("\npapers of the second stage of the staged repair, made and kept by the service:")
	for _, ask := range []httpapi.PaperRequest{
		{Kind: httpapi.PatientSheet},
		{Kind: httpapi.DoctorLetter, Recipient: &[]string{"Dr Practice Synthetic", "2 Harbour Lane (invented)", "Saltmarsh"}},
		{Kind: httpapi.PhysicistReport},
	} {
		for _, language := range []string{"en", "de"} {
			ask.Language = &language
			if err := d.paper(ctx, p, id, ask, dir); err != nil {
				return err
			}
		}
	}
	return p.err
}

// newest finds the newest procedure of a patient.
func (d *demoService) newest(ctx context.Context, number string) (string, error) {
	question, err := json.Marshal(httpapi.PatientSearch{Number: number})
	if err != nil {
		return "", err
	}
	var found httpapi.PatientList
	if err := d.call(ctx, access.Physicist, http.MethodPost, "/v1/patients/search", "application/json", question, &found); err != nil {
		return "", err
	}
	var page httpapi.ProcedurePage
	if err := d.call(ctx, access.Physicist, http.MethodGet, "/v1/procedures?limit=100", "", nil, &page); err != nil {
		return "", err
	}
	for _, one := range page.Procedures {
		for _, patient := range found.Patients {
			if one.PatientId == patient.Id {
				return one.Id, nil
			}
		}
	}
	return "", fmt.Errorf("the service has no procedure of the staged repair")
}

// paper has one paper made and writes both its forms.
func (d *demoService) paper(ctx context.Context, p *printer, id string, ask httpapi.PaperRequest, dir string) error {
	body, err := json.Marshal(ask)
	if err != nil {
		return err
	}
	path := "/v1/procedures/" + id + "/papers"
	var made httpapi.Paper
	if err := d.call(ctx, access.Physicist, http.MethodPost, path, "application/json", body, &made); err != nil {
		return err
	}
	for _, format := range []string{"pdf", "html"} {
		raw, err := d.fetch(ctx, access.Physicist, path+"/"+made.Id+"?format="+format)
		if err != nil {
			return err
		}
		name := filepath.Join(dir, fmt.Sprintf("%s-%s.%s", made.Kind, made.Language, format))
		if err := os.WriteFile(name, raw, 0o600); err != nil {
			return fmt.Errorf("write paper: %w", err)
		}
		if format == "pdf" {
			p.say("  %s", filepath.Base(name))
		}
	}
	return nil
}

// fetch gives the bytes of an answer.
func (d *demoService) fetch(ctx context.Context, role access.Role, path string) (_ []byte, err error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+d.address+path, nil)
	if err != nil {
		return nil, err
	}
	r.Header.Set("Authorization", "Bearer "+d.tokens[role])
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return nil, err
	}
	defer func() {
		if e := answer.Body.Close(); err == nil {
			err = e
		}
	}()
	var out bytes.Buffer
	if _, err := io.Copy(&out, answer.Body); err != nil {
		return nil, err
	}
	if answer.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("GET %s: %s: %s", path, answer.Status, out.String())
	}
	return out.Bytes(), nil
}
