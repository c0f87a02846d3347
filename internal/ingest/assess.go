package ingest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"afterbeam/internal/crashpoint"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// windowDays is the window whose sum is compared with the levels beside each case.
// Source: SIR 2009 (Stecker et al, J Vasc Interv Radiol 20:S263; known from memory).
const windowDays = 60

// assess does the whole way of one study: its reports -> procedures -> estimates -> flags, each case a new version where
// anything changed.
func (p *Pipeline) assess(ctx context.Context, job store.Job) error {
	kept, err := p.Store.ReportsOfStudy(ctx, job.Subject)
	if err != nil {
		return err
	}
	var versions []store.Version
	var later []store.Later
	for _, patient := range patientsOf(kept) {
		cases, err := p.procedures(kept, patient)
		if err != nil {
			return err
		}
		for _, c := range cases {
			v, again, err := p.version(ctx, c, patient)
			if err != nil {
				return err
			}
			versions = append(versions, v)
			later = append(later, again...)
		}
	}
	crashpoint.Reached(crashpoint.Assessed)
	ids, err := p.Store.SaveAssessment(ctx, job, versions, later...)
	if err != nil {
		return err
	}
	crashpoint.Reached(crashpoint.AssessmentSaved)
	p.Log.Info("study assessed", "study_uid", job.Subject, "cases", len(ids))
	if len(later) > 0 {
		p.Wake()
	}
	return nil
}

// patientsOf lists the patients of a study's reports, in the order of the reports. More than one means that somebody has
// to look: each keeps its own procedures.
func patientsOf(kept []store.Report) []string {
	var ids []string
	seen := map[string]bool{}
	for _, r := range kept {
		if !seen[r.PatientID] {
			seen[r.PatientID] = true
			ids = append(ids, r.PatientID)
		}
	}
	return ids
}

// dated is a procedure with the time its last report arrived.
type dated struct {
	procedure.Procedure
	arrived time.Time
}

// procedures merges a patient's reports of the study.
func (p *Pipeline) procedures(kept []store.Report, patient string) ([]dated, error) {
	var reports []procedure.Report
	arrived := map[string]time.Time{}
	for _, k := range kept {
		if k.PatientID != patient {
			continue
		}
		r, err := archive.ReadReport(k.Body)
		if err != nil {
			return nil, fmt.Errorf("report %s: %w", k.ID, err)
		}
		reports = append(reports, r)
		if k.ReceivedAt.After(arrived[k.DeviceKey]) {
			arrived[k.DeviceKey] = k.ReceivedAt
		}
	}
	var out []dated
	for _, merged := range procedure.Merge(reports) {
		out = append(out, dated{merged, arrived[merged.DeviceKey]})
	}
	return out, nil
}

// version assesses one procedure. again lists what must be assessed after it: the same study when its quiet time ends,
// and the patient's other cases whose window this one lies in when its dose is new.
func (p *Pipeline) version(ctx context.Context, d dated, patient string) (store.Version, []store.Later, error) {
	var again []store.Later
	if d.State == procedure.Provisional {
		quiet := d.arrived.Add(p.Quiet)
		if p.Now().Before(quiet) {
			again = append(again, store.Later{Study: d.StudyUID, Due: quiet})
		} else {
			d.State = procedure.Complete
		}
	}
	before, facts, err := p.before(ctx, d.Procedure, patient)
	if err != nil {
		return store.Version{}, nil, err
	}
	a := p.Method.Assess(d.Procedure, facts)
	v := store.Version{Case: caseOf(a, patient), Methods: assessment.Versions() + " " + assessment.Tables(), Flags: flagsOf("this procedure", a.Levels)}
	others, err := p.Store.CasesOfPatient(ctx, patient)
	if err != nil {
		return v, nil, err
	}
	p.addWindow(&v, a, before.Case.ID, others)
	if err := p.encode(&v, a); err != nil {
		return v, nil, err
	}
	v.Change = changes(before, v, a)
	if doseChanged(before.Case, v.Case) {
		again = append(again, laterWindows(v.Case, before.Case.ID, others)...)
	}
	return v, again, nil
}

// before gives the newest version of a case and the facts that people added, both empty before its first assessment.
func (p *Pipeline) before(ctx context.Context, d procedure.Procedure, patient string) (store.Version, procedure.Facts, error) {
	id, err := p.Store.CaseOf(ctx, d.StudyUID, d.DeviceKey, patient)
	if errors.Is(err, store.ErrNotFound) {
		return store.Version{}, procedure.Facts{}, nil
	}
	if err != nil {
		return store.Version{}, procedure.Facts{}, err
	}
	v, err := p.Store.Version(ctx, id, 0)
	if err != nil {
		return v, procedure.Facts{}, err
	}
	list, err := p.Store.Facts(ctx, id)
	if err != nil {
		return v, procedure.Facts{}, err
	}
	facts, err := factsOf(list)
	return v, facts, err
}

// encode writes what is stored of an assessment, and names it by the digest of all that decides it.
func (p *Pipeline) encode(v *store.Version, a assessment.Assessment) (err error) {
	if v.Summary, err = p.Summarise(a); err != nil {
		return fmt.Errorf("write result: %w", err)
	}
	if v.Body, err = archive.Procedure(archive.Case{Procedure: a.Procedure, Facts: a.Facts}); err != nil {
		return err
	}
	if v.Map, err = archive.Map(a, p.Method.MaxPatch); err != nil {
		return err
	}
	for _, e := range a.Procedure.Events {
		if e.UID != "" {
			v.Events = append(v.Events, store.EventPlace{UID: e.UID, Plane: int(e.Plane)})
		}
	}
	h := sha256.New()
	for _, part := range [][]byte{v.Summary, v.Body, v.Map, []byte(v.Methods), fmt.Appendf(nil, "%+v", v.Flags)} {
		_, _ = fmt.Fprintf(h, "%d:", len(part)) // a hash never fails
		_, _ = h.Write(part)
	}
	v.Digest = hex.EncodeToString(h.Sum(nil))
	return nil
}

// caseOf gives the columns of an assessment.
func caseOf(a assessment.Assessment, patient string) store.Case {
	pr := a.Procedure
	return store.Case{
		StudyUID: pr.StudyUID, DeviceKey: pr.DeviceKey, PatientID: patient, Room: pr.Device.Room, State: pr.State.String(), Start: pr.Start.Time,
		LocalDate: pr.Start.LocalDate(), OffsetSource: int(pr.Start.Offset), Class: pr.Class, Description: pr.Study.Description,
		Quality: pr.Purpose == procedure.PurposeQualityControl, FlagState: a.Levels.State.String(),
		Kerma: a.Dose.LeastKerma, KAP: a.Dose.LeastKAP, FluoroTime: a.Dose.LeastTime, Complete: a.Dose.Kerma.Present() && a.Dose.KAP.Present(),
		PSD: a.SkinDose.Value, PSDLow: a.SkinDose.Low, PSDHigh: a.SkinDose.High, PSDMethod: string(a.SkinDose.Method),
		Effective: a.Effective.Value, EffectiveLow: a.Effective.Low, EffectiveHigh: a.Effective.High, EffectiveMethod: a.Effective.Method,
		Gaps: gapsOf(a), KermaFactor: a.Delivered().KermaFactor, KAPFactor: a.Delivered().KAPFactor,
	}
}

// flagsOf gives the flags of an evaluation. A level that is known and not reached is no flag.
func flagsOf(scope string, e level.Evaluation) []store.Flag {
	var flags []store.Flag
	for _, r := range e.Results {
		flags = append(flags, store.Flag{
			Scope: scope, Scheme: r.Row.Scheme, LevelID: r.Row.ID, Quantity: string(r.Row.Quantity), State: r.State.String(), Value: r.Value,
			Level: quantity.Some(r.Level), Basis: r.Basis, Text: r.Row.Meaning + ": " + r.Text, Source: r.Row.Source + " (" + r.Row.Known + ")",
		})
	}
	return flags
}

func doseChanged(a, b store.Case) bool {
	return a.Kerma != b.Kerma || a.KAP != b.KAP || a.PSD != b.PSD || a.PSDHigh != b.PSDHigh ||
		a.LocalDate != b.LocalDate || a.Gaps != b.Gaps || a.Quality != b.Quality
}
