package ingest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"reflect"
	"slices"

	"afterbeam/internal/crashpoint"
	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/followup/notice"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// windowDays is the window whose sum is compared with the levels beside each case.
// Source: SIR 2009 (Stecker et al, J Vasc Interv Radiol 20:S263; known from memory).
const windowDays = 60

// thisProcedure is the scope of the flags of one case alone.
const thisProcedure = "this procedure"

// assess does the whole way of one study: its reports -> procedures -> estimates -> flags, each case a new version where
// anything changed.
func (p *Pipeline) assess(ctx context.Context, job store.Job) error {
	kept, err := p.Store.ReportsOfStudy(ctx, job.Subject)
	if err != nil {
		return err
	}
	var made []estimated
	var later []store.Later
	for _, patient := range patientsOf(kept) {
		procedures, err := guarded(p.Log, p.limit(), func() ([]merged, error) { return p.merge(kept, patient) })
		if err != nil {
			return fmt.Errorf("merge reports: %w", err)
		}
		for _, m := range procedures {
			v, err := p.version(ctx, m.Procedure, patient)
			if err != nil {
				return err
			}
			made = append(made, v)
			if !m.quietAt.IsZero() {
				later = append(later, store.Later{Study: job.Subject, Due: m.quietAt})
			}
		}
	}
	ofTotals, asked, err := p.fallback(ctx, job.Subject, len(kept) > 0)
	if err != nil {
		return fmt.Errorf("announced totals: %w", err)
	}
	made, later = append(made, ofTotals...), append(later, asked...)
	versions, err := p.tell(ctx, job, made)
	if err != nil {
		return err
	}
	crashpoint.Reached(crashpoint.Assessed)
	ids, err := p.Store.SaveAssessment(ctx, job, versions, later...)
	if err != nil {
		return err
	}
	crashpoint.Reached(crashpoint.AssessmentSaved)
	p.Log.Info("study assessed", "study_uid", job.Subject, "cases", len(ids))
	return nil
}

// version assesses one procedure of a patient.
func (p *Pipeline) version(ctx context.Context, d procedure.Procedure, patient string) (estimated, error) {
	before, facts, err := p.before(ctx, d, patient)
	if err != nil {
		return estimated{}, err
	}
	others, err := p.Store.CasesOfPatient(ctx, patient)
	if err != nil {
		return estimated{}, err
	}
	others = slices.DeleteFunc(others, func(c store.Case) bool { return c.ID == before.Case.ID })
	skin, err := p.newBench(ctx, others)
	if err != nil {
		return estimated{}, err
	}
	method, err := p.methodFor(ctx, d.DeviceKey)
	if err != nil {
		return estimated{}, err
	}
	return guarded(p.Log, p.limit(), func() (estimated, error) {
		a := method.Assess(d, facts)
		e := estimated{Version: store.Version{Case: caseOf(a, patient), Methods: p.methods(method.Levels) + versionOf(method.words) + profileMark + profileName(a.Profile), Flags: Flags(thisProcedure, a.Levels), Pregnant: a.Procedure.Patient.MayBePregnant(), Traits: traitsOf(a), OrganMethods: p.organMethods()}}
		v, names := &e.Version, lexicon.NamesOf(a.Procedure)
		v.Names = &names
		if err := p.encode(v, a); err != nil {
			return e, err
		}
		skin.take(a, method.Profiles, others)
		all, sum := p.addWindow(v, a, before, others, skin, method.Levels)
		v.Digest = digestOf(*v)
		v.Change = changes(before, *v, a)
		e.before = before.Case.ID
		e.content = quantity.Some(notice.Compose(notice.Case{Assessment: a, Sum: sum, Own: ownKey, Asks: []ask.Ask{}}))
		if len(all) == 0 {
			return e, nil
		}
		sums, err := skin.sums(all, v.Digest)
		v.Skin = sums
		return e, err
	})
}

// methods names the methods with what the site chose of them, the tables, the levels in force, and the table that a site's lexicon
// stands over.
func (p *Pipeline) methods(inForce level.Set) string {
	levels := sha256.Sum256(fmt.Appendf(nil, "%+v", inForce))
	chosen := ""
	if p.Method.RangePoints > 0 && p.Method.RangePoints != skindose.Points {
		chosen += fmt.Sprintf(" range points:%d", p.Method.RangePoints)
	}
	if p.Method.Skull {
		chosen += " skull"
	}
	return assessment.Versions() + chosen + " " + assessment.LaidVersion + " " + assessment.Tables() + " levels in force:" + hex.EncodeToString(levels[:6]) + " lexicon in force:" + p.Method.Lexicon.Digest()
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

// encode writes what is stored of an assessment.
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
	return nil
}

// digestOf names a version by all that decides it.
func digestOf(v store.Version) string {
	h := sha256.New()
	for _, part := range [][]byte{v.Summary, v.Body, v.Map, []byte(v.Methods), fmt.Appendf(nil, "%+v", v.Flags)} {
		_, _ = fmt.Fprintf(h, "%d:", len(part)) // a hash never fails
		_, _ = h.Write(part)
	}
	return hex.EncodeToString(h.Sum(nil))
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
		FieldAtSkin: a.SkinDose.FieldAtSkin, Accession: pr.Study.AccessionNumber,
	}
}

// Flags gives the flags of an evaluation. A level that is known and not reached is no flag.
func Flags(scope string, e level.Evaluation) []store.Flag {
	flags := make([]store.Flag, 0, len(e.Results))
	for _, r := range e.Results {
		flags = append(flags, store.Flag{
			Scope: scope, Scheme: r.Row.Scheme, LevelID: r.Row.ID, Quantity: string(r.Row.Quantity), State: r.State.String(), Value: r.Value,
			Level: quantity.Some(r.Level), Basis: r.Basis, Text: r.Row.Meaning + ": " + r.Text, Source: r.Row.Source + " (" + r.Row.Known + ")",
			Title: r.Row.Title, Meaning: r.Row.Meaning, Method: r.Method, Passed: len(r.Passed),
		})
	}
	return flags
}

// doseChanged tells whether two versions of a case differ in what the sums over several cases take from them.
func doseChanged(a, b store.Case) bool {
	a.Digest, b.Digest = "", ""
	return !reflect.DeepEqual(Delivered(a), Delivered(b))
}
