package main

import (
	"bytes"
	"context"
	"fmt"
	"slices"

	"afterbeam/internal/export/release"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// releases makes what leaves the department of what is stored.
type releases struct{ db *store.DB }

var _ httpapi.Releases = releases{}

// Make makes an approved release of the newest version of every procedure that it covers. Exposures for quality control, which
// are of no patient, are left out.
func (r releases) Make(ctx context.Context, actor store.Actor, id string) (store.Release, error) {
	return r.db.MakeRelease(ctx, actor, id, func(asked store.Release, key string) (store.Making, error) {
		in, left, err := r.input(ctx, asked, key)
		if err != nil {
			return store.Making{}, fmt.Errorf("release %s: %w", asked.ID, err)
		}
		if len(in.Cases) == 0 {
			return store.Making{}, fmt.Errorf("%w: no procedure fits the release", store.ErrConflict)
		}
		var out bytes.Buffer
		manifest, err := release.Write(&out, in)
		if err != nil {
			return store.Making{}, fmt.Errorf("release %s: %w", asked.ID, err)
		}
		return store.Making{Bytes: out.Bytes(), Reports: manifest.Reports, Cases: left}, nil
	})
}

func (r releases) input(ctx context.Context, asked store.Release, key string) (in release.Input, left []store.ReleasedCase, err error) {
	w := asked.Wanted
	in = release.Input{
		ID: asked.ID, Recipient: w.Recipient, Purpose: w.Purpose, Made: asked.MadeAt, Program: programVersion(), Reports: w.Reports, Tables: w.Tables,
		Options: release.Options{
			Device: release.Device(w.Device), Persons: release.Persons(w.Persons), Characteristics: w.Characteristics, BoundSizes: w.BoundSizes,
		},
	}
	if in.Pseudonyms, err = release.PseudonymsOf(key); err != nil {
		return in, nil, err
	}
	cases, err := r.db.Cases(ctx, store.Filter{From: w.From, To: w.To, Room: w.Room, Class: w.Class})
	if err != nil {
		return in, nil, err
	}
	survivors, err := r.db.Survivors(ctx)
	if err != nil {
		return in, nil, err
	}
	kept := map[string]store.Case{}
	for _, c := range cases {
		if c.Quality {
			continue
		}
		one, err := r.particulars(ctx, c)
		if err != nil {
			return in, nil, err
		}
		if survivor, linked := survivors[c.PatientID]; linked {
			one.Patient = survivor
		}
		in.Cases, kept[c.ID] = append(in.Cases, one), c
		left = append(left, store.ReleasedCase{CaseID: c.ID, PatientID: c.PatientID, Version: c.Version})
	}
	in.Open = func(c release.Case) (release.Detail, error) { return r.detail(ctx, kept[c.ID], w.Reports) }
	return in, left, nil
}

// particulars gives what a row of the table of procedures is made of.
func (r releases) particulars(ctx context.Context, c store.Case) (release.Case, error) {
	p, err := r.procedure(ctx, c)
	if err != nil {
		return release.Case{}, err
	}
	return release.Case{
		ID: c.ID, Patient: c.PatientID, Device: c.DeviceKey, Day: c.LocalDate, Class: c.Class, State: c.State,
		Sex: p.Patient.Sex, Age: p.AgeYears(), Height: p.Patient.Height, Weight: p.Patient.Weight, Operators: tookPart(p),
		Kerma: c.Kerma, KAP: c.KAP, FluoroTime: c.FluoroTime, Complete: c.Complete, PSD: c.PSD, PSDLow: c.PSDLow, PSDHigh: c.PSDHigh, PSDMethod: c.PSDMethod,
		Effective: c.Effective, EffectiveLow: c.EffectiveLow, EffectiveHigh: c.EffectiveHigh, Flag: c.FlagState,
	}, nil
}

func (r releases) procedure(ctx context.Context, c store.Case) (procedure.Procedure, error) {
	v, err := r.db.Version(ctx, c.ID, c.Version)
	if err != nil {
		return procedure.Procedure{}, err
	}
	kept, err := archive.ReadProcedure(v.Body)
	if err != nil {
		return procedure.Procedure{}, fmt.Errorf("procedure %s: %w", c.ID, err)
	}
	return kept.Procedure, nil
}

// tookPart lists the persons whom a procedure or its events name.
func tookPart(p procedure.Procedure) []procedure.Person {
	all := slices.Clone(p.Persons)
	for i := range p.Events {
		all = append(all, p.Events[i].Persons...)
	}
	return all
}

// detail reads the events of a case and, when they are wanted, the reports that it is made of.
func (r releases) detail(ctx context.Context, c store.Case, wanted bool) (d release.Detail, err error) {
	p, err := r.procedure(ctx, c)
	if err != nil || !wanted {
		return release.Detail{Events: p.Events}, err
	}
	d.Events = p.Events
	reports, err := r.db.ReportsOfStudy(ctx, c.StudyUID)
	if err != nil {
		return d, err
	}
	seen := map[string]bool{} // one data set may have come in several encodings
	for _, one := range reports {
		if one.DeviceKey != c.DeviceKey || one.PatientID != c.PatientID || seen[one.DataSetDigest] {
			continue
		}
		seen[one.DataSetDigest] = true
		set, err := r.dataSet(ctx, one)
		if err != nil {
			return d, fmt.Errorf("report %s: %w", one.SOPInstance, err)
		}
		d.Reports = append(d.Reports, set)
	}
	return d, nil
}

func (r releases) dataSet(ctx context.Context, one store.Report) (dicomio.DataSet, error) {
	receipt, err := r.db.Receipt(ctx, one.ReceiptID)
	if err != nil {
		return nil, err
	}
	raw, err := r.db.Raw(receipt.Digest)
	if err != nil {
		return nil, err
	}
	file, err := dicomio.Read(raw, dicomio.DefaultLimits())
	if err != nil {
		return nil, err
	}
	return file.Data, nil
}
