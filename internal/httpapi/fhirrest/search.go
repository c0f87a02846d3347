package fhirrest

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"afterbeam/internal/export/fhir"
	"afterbeam/internal/store"
)

// searching answers a search; its views are recorded by serve.
func (s *Server) searching(path string, takes []parameter, serve func(context.Context, Call, asked) (*fhir.Bundle, error)) func(http.ResponseWriter, *http.Request, Call) error {
	return func(w http.ResponseWriter, r *http.Request, c Call) error {
		a, err := read(r, path, takes)
		if err != nil {
			return err
		}
		if err := acceptable(r, a.Get("_format")); err != nil {
			return err
		}
		b, err := serve(r.Context(), c, a)
		if err != nil {
			return err
		}
		return write(w, b)
	}
}

// place gives the URL of something here, as the caller reaches this server. A caller that names no proper host gets the path
// alone.
func (s *Server) place(r *http.Request, rest string) string {
	scheme := "http"
	if r.TLS != nil || s.cfg.BehindProxy {
		scheme = "https"
	}
	if r.Host == "" || strings.Trim(r.Host, "0123456789abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ.-:[]") != "" {
		return Root + rest
	}
	return scheme + "://" + r.Host + Root + rest
}

// result begins the answer of a search. query has nothing that names a patient to the outside.
func (s *Server) result(a asked, resource string, query url.Values, next string) *fhir.Bundle {
	b := &fhir.Bundle{Header: fhir.Header{Type: "Bundle"}, Kindred: "searchset"}
	link := func(relation string) {
		address := s.place(a.r, "/"+resource)
		if len(query) > 0 {
			address += "?" + query.Encode()
		}
		b.Link = append(b.Link, fhir.Link{Relation: relation, URL: address})
	}
	link("self")
	if next != "" {
		query.Set("_cursor", next)
		link("next")
	}
	return b
}

func (s *Server) entry(a asked, r fhir.Resource) fhir.Entry {
	return fhir.Entry{FullURL: s.place(a.r, "/"+r.Kind()+"/"+r.ResourceID()), Resource: r, Search: &fhir.Search{Mode: "match"}}
}

// wish is a search of Observations, understood.
type wish struct {
	filter store.Filter
	parts  []string
	count  int
	cursor string
	// nothing tells that no Observation can match; query is what the links say.
	nothing bool
	query   url.Values
}

// understand reads the parameters of a search of Observations.
func (s *Server) understand(ctx context.Context, c Call, a asked) (wish, error) {
	w := wish{parts: fhir.Parts(), cursor: a.Get("_cursor"), query: url.Values{}}
	for name, values := range a.Values {
		if name != "patient:identifier" && name != "_cursor" {
			w.query[name] = values
		}
	}
	var err error
	if w.count, err = a.count(); err != nil {
		return w, err
	}
	if w.filter.From, w.filter.To, err = a.days(); err != nil {
		return w, err
	}
	if a.Has("code") {
		w.parts = partsOf(a.Get("code"))
		w.nothing = len(w.parts) == 0
	}
	for _, narrow := range []func(context.Context, Call, asked, *wish) error{s.byPatient, s.byDevice, byStudy} {
		if err := narrow(ctx, c, a, &w); err != nil {
			return w, err
		}
	}
	return w, nil
}

// partsOf gives the parts of a case that have one of the codes.
func partsOf(codes string) []string {
	var parts []string
	for _, part := range fhir.Parts() {
		for value := range strings.SplitSeq(codes, ",") {
			system, code, anySystem := token(value)
			if slices.ContainsFunc(fhir.Codes(part), func(c fhir.Coding) bool { return c.Code == code && (anySystem || c.System == system) }) && !slices.Contains(parts, part) {
				parts = append(parts, part)
			}
		}
	}
	return parts
}

func (s *Server) byPatient(ctx context.Context, c Call, a asked, w *wish) error {
	if a.Has("patient") && a.Has("patient:identifier") {
		return refuse(store.ErrInvalid, "patient and patient:identifier are not given together")
	}
	if a.Has("patient") {
		var err error
		w.filter.PatientID, err = id(a.Get("patient"), "Patient")
		return err
	}
	if !a.Has("patient:identifier") {
		return nil
	}
	found, err := s.named(ctx, c, a.Get("patient:identifier"))
	if err != nil {
		return err
	}
	if len(found) == 0 {
		w.nothing = true
		return nil
	}
	for _, p := range found {
		if p.Survivor != found[0].Survivor {
			return &Refusal{Kind: ErrSeveral, Detail: "several", Outcome: fhir.Outcome("error", "multiple-matches",
				"Several patient records that are not linked have this number: POST to Patient/_search gives them, then search by patient.")}
		}
	}
	w.filter.PatientID = found[0].ID
	w.query.Set("patient", "Patient/"+found[0].ID)
	return nil
}

// named finds the patients of a number of whom the caller may see a case.
func (s *Server) named(ctx context.Context, c Call, value string) ([]store.Patient, error) {
	system, number, anySystem := token(value)
	if number = strings.TrimSpace(number); number == "" || !anySystem && system != "" {
		return nil, refuse(store.ErrInvalid, "numbers of patients have no system here: wanted is the number alone")
	}
	all, err := s.cfg.Store.FindPatients(ctx, number, "")
	if err != nil {
		return nil, err
	}
	var seen []store.Patient
	for _, p := range all {
		cases, err := s.cfg.Store.CasesOfPatient(ctx, p.ID)
		if err != nil {
			return nil, err
		}
		_, err = c.Grant.SeesAny(cases)
		switch {
		case errors.Is(err, store.ErrNotFound):
		case err != nil:
			return nil, err
		default:
			seen = append(seen, p)
		}
	}
	return seen, nil
}

func (s *Server) byDevice(ctx context.Context, c Call, a asked, w *wish) error {
	if !a.Has("device") {
		return nil
	}
	one, err := id(a.Get("device"), "Device")
	if err != nil {
		return err
	}
	d, err := s.cfg.Store.Device(ctx, one, c.Grant.Account.Rooms)
	if errors.Is(err, store.ErrNotFound) {
		w.nothing = true
		return nil
	}
	w.filter.DeviceKey = d.Key
	return err
}

func byStudy(_ context.Context, _ Call, a asked, w *wish) error {
	value := a.Get("part-of:identifier")
	if value == "" {
		return nil
	}
	system, uid, anySystem := token(value)
	uid = strings.TrimPrefix(uid, "urn:oid:")
	if !anySystem && system != "urn:dicom:uid" || uid == "" || len(uid) > 64 || strings.Trim(uid, "0123456789.") != "" {
		return refuse(store.ErrInvalid, "parameter part-of:identifier wants a study instance UID, with or without the system urn:dicom:uid")
	}
	w.filter.StudyUID = uid
	return nil
}

// observations answers a search of Observations.
func (s *Server) observations(ctx context.Context, c Call, a asked) (*fhir.Bundle, error) {
	w, err := s.understand(ctx, c, a)
	if err != nil {
		return nil, err
	}
	p := page{want: w}
	switch {
	case w.nothing:
	case a.Has("_id"):
		err = s.one(ctx, c, a.Get("_id"), &p)
	default:
		err = s.fill(ctx, c, &p)
	}
	if err != nil {
		return nil, err
	}
	if err := s.recorded(ctx, c, p.found); err != nil {
		return nil, err
	}
	b := s.result(a, "Observation", w.query, p.next)
	for _, h := range p.found {
		b.Entry = append(b.Entry, s.entry(a, h.Observation))
	}
	if p.lacking > 0 {
		text := fmt.Sprintf("%d procedures of this page have no dose summary, because their reports lack what the profile demands: a read of the summary says what.", p.lacking)
		b.Entry = append(b.Entry, fhir.Entry{Resource: fhir.Outcome("warning", "business-rule", text), Search: &fhir.Search{Mode: "outcome"}})
	}
	return b, nil
}

// recorded writes the views of a page to the audit record, one for each patient, before it is answered.
func (s *Server) recorded(ctx context.Context, c Call, found []hit) error {
	number := map[string]int{}
	var patients []string
	for _, h := range found {
		if number[h.patient]++; number[h.patient] == 1 {
			patients = append(patients, h.patient)
		}
	}
	for _, patient := range patients {
		if err := s.cfg.Store.Viewed(ctx, c.actor(), "fhir.search", fmt.Sprintf("%d Observations", number[patient]), patient); err != nil {
			return err
		}
	}
	if len(patients) > 0 {
		return nil
	}
	return s.cfg.Store.Viewed(ctx, c.actor(), "fhir.search", "0 Observations", "")
}

// devices answers a search of devices.
func (s *Server) devices(ctx context.Context, c Call, a asked) (*fhir.Bundle, error) {
	all, err := s.cfg.Store.Devices(ctx, c.Grant.Account.Rooms)
	if err != nil {
		return nil, err
	}
	b := s.result(a, "Device", a.Values, "")
	for _, d := range all {
		if a.Has("_id") && d.ID != a.Get("_id") || a.Has("identifier") && !carries(d, a.Get("identifier")) {
			continue
		}
		e, err := s.equipment(ctx, d)
		if err != nil {
			return nil, err
		}
		b.Entry = append(b.Entry, s.entry(a, fhir.DeviceOf(e)))
	}
	return b, s.cfg.Store.Viewed(ctx, c.actor(), "fhir.search", fmt.Sprintf("%d Devices", len(b.Entry)), "")
}

// carries tells whether a device has an identifier.
func carries(d store.Device, identifier string) bool {
	system, value, anySystem := token(identifier)
	return slices.ContainsFunc(fhir.DeviceOf(fhir.Equipment{UID: d.UID, Serial: d.Serial}).Identifier, func(i fhir.Identifier) bool {
		return i.Value == value && (anySystem || i.System == system)
	})
}

// patients answers a search of patients by number. The links of the answer have none.
func (s *Server) patients(ctx context.Context, c Call, a asked) (*fhir.Bundle, error) {
	if !a.Has("identifier") {
		return nil, refuse(store.ErrInvalid, "parameter identifier is missing: patients are found by their number alone")
	}
	found, err := s.named(ctx, c, a.Get("identifier"))
	if err != nil {
		return nil, err
	}
	b := s.result(a, "Patient", url.Values{}, "")
	for _, p := range found {
		if err := s.cfg.Store.Viewed(ctx, c.actor(), "fhir.search", "1 Patient", p.ID); err != nil {
			return nil, err
		}
		b.Entry = append(b.Entry, s.entry(a, fhir.PatientOf(person(p))))
	}
	if len(found) > 0 {
		return b, nil
	}
	return b, s.cfg.Store.Viewed(ctx, c.actor(), "fhir.search", "0 Patients", "")
}
