package ingest

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"afterbeam/internal/crashpoint"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
	"afterbeam/internal/store/object"
)

// errUnusable marks an object that was kept but is no usable dose report.
var errUnusable = errors.New("not a usable dose report")

// largeReport is the size from which on reports are read one at a time, because reading takes several times their size
// in memory.
const largeReport = 8 << 20

// read reads a kept object: bytes -> report, stored with its patient, and its study asked to be assessed.
func (p *Pipeline) read(ctx context.Context, job store.Job) error {
	receipt, err := p.Store.Receipt(ctx, job.Subject)
	if err != nil {
		return fmt.Errorf("receipt of job: %w", err)
	}
	if receipt.State != store.ReceiptKept {
		return p.Store.Finish(ctx, job)
	}
	raw, err := p.Store.Raw(receipt.Digest)
	if errors.Is(err, object.ErrCorrupt) || errors.Is(err, object.ErrNotFound) {
		p.Log.Error("kept bytes are missing or damaged: restore them from the backup", "receipt", receipt.ID, "error", err)
		return fmt.Errorf("kept bytes: %w", err)
	}
	if err != nil {
		return fmt.Errorf("kept bytes: %w", err)
	}
	r, err := p.parse(raw)
	if isPoison(err) {
		return fmt.Errorf("could not be read: %w", err)
	}
	if err != nil {
		return fmt.Errorf("%w: %w", errUnusable, err)
	}
	crashpoint.Reached(crashpoint.ReportRead, r.SOPInstanceUID)
	body, err := archive.Report(*r)
	if err != nil {
		return fmt.Errorf("%w: %w", errUnusable, err)
	}
	err = p.Store.SaveReport(ctx, job, store.Report{
		ReceiptID: receipt.ID, SOPInstance: r.SOPInstanceUID, DataSetDigest: r.DataSetDigest, ContentDigest: r.ContentDigest,
		StudyUID: r.StudyUID, DeviceKey: r.Device.Key(), ContentAt: r.Content.Time, Body: body,
		Persons: personsOf(r),
		Equipment: store.Equipment{
			UID: r.Device.UID, Name: r.Device.Name, Manufacturer: r.Device.Manufacturer, Model: r.Device.Model, Serial: r.Device.Serial,
			Station: r.Device.Station, Room: r.Device.Room, Software: r.Device.Software,
		}, Day: dayOf(*r),
	}, store.Identity{
		Number: r.Patient.ID, Issuer: r.Patient.Issuer, Name: r.Patient.Name, BirthDate: r.Patient.BirthDate, Sex: r.Patient.Sex,
	})
	if err == nil {
		crashpoint.Reached(crashpoint.ReportSaved)
		p.Log.Info("report read", "report_uid", r.SOPInstanceUID, "study_uid", r.StudyUID, "events", len(r.Events), "findings", len(r.Findings))
		p.Wake()
	}
	return err
}

// dayOf gives the local day of a report's procedure, by its content or its study.
func dayOf(r procedure.Report) string {
	return cmp.Or(r.Content.LocalDate(), r.Study.Date.LocalDate())
}

func (p *Pipeline) parse(raw []byte) (*procedure.Report, error) {
	if len(raw) > largeReport {
		p.large.Lock()
		defer p.large.Unlock()
	}
	read := p.Read
	if read == nil {
		read = func(raw []byte) (*procedure.Report, error) { return rdsr.Read(raw, p.Reading) }
	}
	return guarded(p.Log, p.limit(), func() (*procedure.Report, error) { return read(raw) })
}

func (p *Pipeline) limit() time.Duration {
	if p.TimeLimit > 0 {
		return p.TimeLimit
	}
	return timeLimit
}

// reasonOf gives the reason for the record, without the mark of this package before it.
func reasonOf(err error) string { return strings.TrimPrefix(err.Error(), errUnusable.Error()+": ") }

// personsOf lists whom a report names, in its head and in its events.
func personsOf(r *procedure.Report) []procedure.Person {
	all := slices.Clone(r.Persons)
	for _, e := range r.Events {
		for _, p := range e.Persons {
			if !slices.Contains(all, p) {
				all = append(all, p)
			}
		}
	}
	return all
}
