package ingest

import (
	"context"
	"errors"
	"fmt"

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
		p.Log.Error("kept bytes are missing or damaged", "receipt", receipt.ID, "error", err)
		return fmt.Errorf("kept bytes: %w", err)
	}
	if err != nil {
		return fmt.Errorf("kept bytes: %w", err)
	}
	r, err := p.parse(raw)
	if err != nil {
		return fmt.Errorf("%w: %w", errUnusable, err)
	}
	crashpoint.Reached(crashpoint.ReportRead)
	body, err := archive.Report(*r)
	if err != nil {
		return err
	}
	err = p.Store.SaveReport(ctx, job, store.Report{
		ReceiptID: receipt.ID, SOPInstance: r.SOPInstanceUID, DataSetDigest: r.DataSetDigest, ContentDigest: r.ContentDigest,
		StudyUID: r.StudyUID, DeviceKey: r.Device.Key(), ContentAt: r.Content.Time, Body: body,
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

func (p *Pipeline) parse(raw []byte) (*procedure.Report, error) {
	if len(raw) > largeReport {
		p.large.Lock()
		defer p.large.Unlock()
	}
	return rdsr.Read(raw, p.Reading)
}

// reasonOf gives the reason for the record, without the marks of this package before it.
func reasonOf(err error) string {
	type wrapper interface{ Unwrap() []error }
	if w, ok := err.(wrapper); ok && errors.Is(err, errUnusable) { //nolint:errorlint // the outermost error is looked at on purpose
		if parts := w.Unwrap(); len(parts) == 2 {
			return parts[1].Error()
		}
	}
	return err.Error()
}
