package fhirrest

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"afterbeam/internal/access"
	"afterbeam/internal/export/fhir"
	"afterbeam/internal/store"
)

// MediaType is what every answer is.
const MediaType = "application/fhir+json"

// versioned is a resource with the patient whose it is, "" for none.
type versioned struct {
	resource fhir.Resource
	version  string
	patient  string
}

// reading answers a read: the view is recorded before the answer.
func (s *Server) reading(serve func(context.Context, Call) (versioned, error)) func(http.ResponseWriter, *http.Request, Call) error {
	return func(w http.ResponseWriter, r *http.Request, c Call) error {
		if err := acceptable(r, r.URL.Query().Get("_format")); err != nil {
			return err
		}
		for name := range r.URL.Query() {
			if name != "_format" {
				return refuse(store.ErrInvalid, "a read takes no parameter but _format")
			}
		}
		got, err := serve(r.Context(), c)
		if err != nil {
			return err
		}
		object := got.resource.Kind() + "/" + got.resource.ResourceID()
		if err := s.cfg.Store.Viewed(r.Context(), c.actor(), "fhir.view", object, got.patient); err != nil {
			return err
		}
		if got.version != "" {
			tag := `W/"` + got.version + `"`
			w.Header().Set("ETag", tag)
			if slices.Contains(strings.Split(strings.ReplaceAll(r.Header.Get("If-None-Match"), " ", ""), ","), tag) {
				w.WriteHeader(http.StatusNotModified)
				return nil
			}
		}
		return write(w, got.resource)
	}
}

// write answers with a resource.
func write(w http.ResponseWriter, r any) error {
	body, err := json.Marshal(r)
	if err != nil {
		return fmt.Errorf("encode resource: %w", err)
	}
	w.Header().Set("Content-Type", MediaType)
	w.Header().Set("Content-Length", strconv.Itoa(len(body)))
	w.WriteHeader(http.StatusOK)
	_, err = w.Write(body)
	return err
}

// acceptable refuses what is asked for in another form than JSON. format is the parameter _format, which stands before the
// header.
func acceptable(r *http.Request, format string) error {
	const only = "this interface answers in " + MediaType
	known := []string{MediaType, "application/json", "json", "application/*", "*/*", ""}
	if format != "" {
		if !slices.Contains(known[:3], format) {
			return refuse(ErrNotAcceptable, only)
		}
		return nil
	}
	for one := range strings.SplitSeq(strings.Join(r.Header.Values("Accept"), ","), ",") {
		media, _, err := mime.ParseMediaType(one)
		if strings.TrimSpace(one) == "" || err == nil && slices.Contains(known, media) {
			return nil
		}
	}
	return refuse(ErrNotAcceptable, only)
}

// seen gives a case by the id of one of its resources, and the part that the id names. What lies outside of the caller's rooms,
// and irradiation of test objects, is not there.
func (s *Server) seen(ctx context.Context, c Call) (store.Case, string, error) {
	id, part, _ := strings.Cut(c.ID, ".")
	found, err := s.cfg.Store.Case(ctx, id)
	if err != nil {
		return found, "", err
	}
	if found.Quality {
		return found, "", fmt.Errorf("%w: test object", store.ErrNotFound)
	}
	return found, part, c.Grant.Sees(found)
}

func (s *Server) observation(ctx context.Context, c Call) (versioned, error) {
	found, part, err := s.seen(ctx, c)
	if err != nil {
		return versioned{}, err
	}
	if !slices.Contains(fhir.Parts(), part) {
		return versioned{}, fmt.Errorf("%w: part", store.ErrNotFound)
	}
	of, err := s.Gather(ctx, found)
	if err != nil {
		return versioned{}, err
	}
	if part == fhir.PartSummary {
		o, err := fhir.Summary(of)
		if err != nil {
			return versioned{}, Unmet(of, err)
		}
		return versioned{o, o.Meta.VersionID, found.PatientID}, nil
	}
	for _, o := range fhir.Estimates(of) {
		if o.ID == c.ID {
			return versioned{o, o.Meta.VersionID, found.PatientID}, nil
		}
	}
	return versioned{}, refuse(store.ErrNotFound, "not computed yet")
}

// Unmet turns what a writer refused into the answer that says what is missing.
func Unmet(c fhir.Case, err error) error {
	if !errors.Is(err, ErrUnmet) {
		return err
	}
	return &Refusal{Kind: ErrUnmet, Detail: "the profile of the dose summary cannot be met", Outcome: fhir.Unmet(c, err)}
}

func (s *Server) report(ctx context.Context, c Call) (versioned, error) {
	found, part, err := s.seen(ctx, c)
	if err != nil {
		return versioned{}, err
	}
	if part != fhir.PartReport {
		return versioned{}, fmt.Errorf("%w: part", store.ErrNotFound)
	}
	of, err := s.Gather(ctx, found)
	if err != nil {
		return versioned{}, err
	}
	r, err := fhir.Report(of)
	if err != nil {
		return versioned{}, Unmet(of, err)
	}
	return versioned{r, r.Meta.VersionID, found.PatientID}, nil
}

func (s *Server) provenance(ctx context.Context, c Call) (versioned, error) {
	found, part, err := s.seen(ctx, c)
	if err != nil {
		return versioned{}, err
	}
	if part != fhir.PartProvenance {
		return versioned{}, fmt.Errorf("%w: part", store.ErrNotFound)
	}
	of, err := s.Gather(ctx, found)
	if err != nil {
		return versioned{}, err
	}
	p := fhir.Change(of)
	if p == nil {
		return versioned{}, refuse(store.ErrNotFound, "nothing of the procedure was told as final before")
	}
	return versioned{p, p.Meta.VersionID, found.PatientID}, nil
}

func (s *Server) device(ctx context.Context, c Call) (versioned, error) {
	d, err := s.cfg.Store.Device(ctx, c.ID, c.Grant.Account.Rooms)
	if errors.Is(err, store.ErrNotFound) && c.Grant.Account.Rooms != nil {
		if _, elsewhere := s.cfg.Store.Device(ctx, c.ID, nil); elsewhere == nil {
			return versioned{}, access.ErrOutside
		}
	}
	if err != nil {
		return versioned{}, err
	}
	e, err := s.equipment(ctx, d)
	return versioned{resource: fhir.DeviceOf(e)}, err
}

func (s *Server) equipment(ctx context.Context, d store.Device) (fhir.Equipment, error) {
	e := fhir.Equipment{
		ID: d.ID, UID: d.UID, Name: d.Name, Manufacturer: d.Manufacturer, Model: d.Model, Serial: d.Serial, Station: d.Station, Room: d.Room,
	}
	all, err := s.cfg.Store.SoftwareOf(ctx, d.ID)
	for _, one := range all {
		e.Software = append(e.Software, one.Value)
	}
	return e, err
}

func (s *Server) patient(ctx context.Context, c Call) (versioned, error) {
	p, err := s.cfg.Store.Patient(ctx, c.ID)
	if err != nil {
		return versioned{}, err
	}
	all, err := s.cfg.Store.CasesOfPatient(ctx, p.ID)
	if err != nil {
		return versioned{}, err
	}
	if _, err := c.Grant.SeesAny(all); err != nil {
		return versioned{}, err
	}
	return versioned{resource: fhir.PatientOf(person(p)), patient: p.ID}, nil
}
