package fhirrest

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"afterbeam/internal/export/casejson"
	"afterbeam/internal/export/fhir"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/physics/organ"
	"afterbeam/internal/procedure"
	"afterbeam/internal/store"
)

// Gather reads all that the resources of a case are made of: its newest estimate, nothing calculated anew.
func (s *Server) Gather(ctx context.Context, c store.Case) (fhir.Case, error) {
	v, err := s.cfg.Store.Version(ctx, c.ID, 0)
	if err != nil {
		return fhir.Case{}, err
	}
	kept, err := archive.ReadProcedure(v.Body)
	if err != nil {
		return fhir.Case{}, fmt.Errorf("procedure %s/%d: %w", c.ID, v.Number, err)
	}
	var result casejson.Case
	if err := json.Unmarshal(v.Summary, &result); err != nil {
		return fhir.Case{}, fmt.Errorf("result of %s/%d: %w", c.ID, v.Number, err)
	}
	levels, err := s.levels(ctx)
	if err != nil {
		return fhir.Case{}, err
	}
	out := fhir.Case{
		ID: c.ID, Version: v.Number, MadeAt: v.MadeAt, Program: v.Program, Change: v.Change, Replaced: v.Case.Basis == store.BasisReplaced,
		Announced: v.Case.Basis == store.BasisTotals, Accession: v.Case.Accession,
	}
	if out.Assessment, err = result.Assessment(casejson.Kept{Procedure: kept.Procedure, Facts: kept.Facts}, levels); err != nil {
		return fhir.Case{}, fmt.Errorf("result of %s/%d: %w", c.ID, v.Number, err)
	}
	if out.Reissued, err = s.reissued(ctx, v); err != nil {
		return fhir.Case{}, err
	}
	if out.Device, err = s.equipmentOf(ctx, kept.Procedure); err != nil {
		return fhir.Case{}, err
	}
	p, err := s.cfg.Store.Patient(ctx, v.Case.PatientID)
	if err != nil {
		return fhir.Case{}, err
	}
	out.Patient = person(p)
	return out, s.addOrgans(ctx, v, &out)
}

func (s *Server) levels(ctx context.Context) (level.Set, error) {
	if s.cfg.Levels == nil {
		return level.Default(), nil
	}
	return s.cfg.Levels(ctx)
}

// reissued tells whether an estimate of the case was told as final before this one.
func (s *Server) reissued(ctx context.Context, v store.Version) (bool, error) {
	if v.Number < 2 {
		return false, nil
	}
	all, err := s.cfg.Store.Versions(ctx, v.Case.ID)
	if err != nil {
		return false, err
	}
	for _, one := range all {
		var before struct {
			Procedure struct {
				State string `json:"state"`
			} `json:"procedure"`
		}
		if one.Number >= v.Number {
			continue
		}
		if err := json.Unmarshal(one.Summary, &before); err != nil {
			return false, fmt.Errorf("result of %s/%d: %w", v.Case.ID, one.Number, err)
		}
		if before.Procedure.State != procedure.Provisional.String() {
			return true, nil
		}
	}
	return false, nil
}

// equipmentOf gives the device as the reports of the procedure describe it.
func (s *Server) equipmentOf(ctx context.Context, p procedure.Procedure) (fhir.Equipment, error) {
	d := p.Device
	e := fhir.Equipment{
		UID: d.UID, Name: d.Name, Manufacturer: d.Manufacturer, Model: d.Model, Serial: d.Serial, Station: d.Station, Room: d.Room, Software: []string{d.Software},
	}
	var err error
	e.ID, err = s.cfg.Store.DeviceID(ctx, p.DeviceKey)
	if errors.Is(err, store.ErrNotFound) {
		return e, nil // none sent a report: the totals were announced by a performed step
	}
	return e, err
}

func person(p store.Patient) fhir.Person {
	i := p.Identity
	return fhir.Person{ID: p.ID, Number: i.Number, Issuer: i.Issuer, Name: i.Name, BirthDate: i.BirthDate, Sex: i.Sex, Survivor: p.Survivor}
}

func (s *Server) addOrgans(ctx context.Context, v store.Version, c *fhir.Case) error {
	o, err := s.cfg.Store.Organs(ctx, v.Case.ID, v.Number)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return nil
	case err != nil:
		return err
	case o.Reason != "":
		c.OrgansReason, c.OrgansAt = o.Reason, o.MadeAt
		return nil
	}
	var doses organ.Doses
	if err := json.Unmarshal(o.Body, &doses); err != nil {
		return fmt.Errorf("organ doses of %s/%d: %w", v.Case.ID, v.Number, err)
	}
	c.Organs, c.OrgansAt = &doses, o.MadeAt
	return nil
}
