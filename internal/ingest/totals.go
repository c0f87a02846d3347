package ingest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"

	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/performed"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// fallback assesses a study of which no dose report came from the totals that its equipment announced, each performed step
// as a case of its own: totals only, no geometry. They are looked at when the quiet time has passed without a report. Once
// one has come, under this study or another, the case is replaced and counts nowhere.
func (p *Pipeline) fallback(ctx context.Context, study string, reported bool) (versions []estimated, later []store.Later, err error) {
	if study == "" {
		return nil, nil, nil
	}
	steps, err := p.Store.StepsWithTotals(ctx, study)
	if err != nil || len(steps) == 0 {
		return nil, nil, err
	}
	made, err := p.Store.TotalsCases(ctx, study)
	if err != nil {
		return nil, nil, err
	}
	for _, s := range steps {
		if !s.Step.State.Final() || s.Step.Excluded == performed.Cancelled {
			continue
		}
		if due := s.MadeAt.Add(p.Quiet); !reported && p.Now().Before(due) {
			later = append(later, store.Later{Study: study, Due: due})
			continue
		}
		one, err := p.ofTotals(ctx, s, made, reported)
		if err != nil {
			return nil, nil, err
		}
		versions = append(versions, one...)
	}
	return versions, later, nil
}

// ofTotals gives the version of a step's case: from its totals, or the one that says it was replaced.
func (p *Pipeline) ofTotals(ctx context.Context, s store.Performed, made []store.Case, reported bool) ([]estimated, error) {
	if !reported {
		var err error
		if reported, err = p.Store.HasReport(ctx, s); err != nil {
			return nil, err
		}
	}
	if reported {
		for _, c := range made {
			if c.DeviceKey == stepDevice(s.Step) {
				before, err := p.Store.Version(ctx, c.ID, 0)
				return []estimated{{Version: replaced(before)}}, err
			}
		}
		return nil, nil
	}
	patient, err := p.Store.StepPatient(ctx, s)
	if err != nil {
		return nil, err
	}
	whole := procedure.Merge([]procedure.Report{announced(s.Step)})[0]
	v, err := p.version(ctx, whole, patient)
	v.Case.Basis = store.BasisTotals
	v.totals()
	return []estimated{v}, err
}

// stepDevice stands for the equipment of a step, which names itself otherwise in its reports.
func stepDevice(s performed.Step) string { return "performed step " + s.Key }

// announced tells a step as the report that its equipment would have sent, had it known no more than totals.
func announced(s performed.Step) procedure.Report {
	r := procedure.Report{
		SOPInstanceUID: s.Key, StudyUID: s.StudyUID, Content: s.Start, Complete: true, Scope: procedure.ScopeStep, ScopeUID: s.Key,
		Patient: procedure.Patient{Sex: s.Patient.Sex, BirthDate: s.Patient.BirthDate},
		Study:   procedure.Study{Description: s.Description, AccessionNumber: s.Accession, Date: s.Start},
		Device:  procedure.Device{UID: stepDevice(s), Station: s.Station, Room: s.Room},
		Persons: s.Operators,
		Planes: []procedure.PlaneTotal{{
			Plane: procedure.PlaneAll, KAP: s.Totals.KAP, FluoroTime: s.Totals.FluoroTime, Suspicion: s.Totals.Suspicion,
		}},
		Findings: []procedure.Finding{performed.Finding()},
	}
	if s.Code.Value != "" {
		r.Study.ProcedureCodes = []procedure.Code{s.Code}
	}
	if s.Totals.Suspicion != 0 {
		r.Findings = append(r.Findings, s.Totals.Findings()...)
	}
	return r
}

// replaced is the last version of a case made from totals: without a dose and without a flag.
func replaced(before store.Version) store.Version {
	v := before
	c := &v.Case
	c.Basis, c.FlagState, c.Complete = store.BasisReplaced, "", false
	c.Kerma, c.KAP, c.FluoroTime = quantity.None[quantity.Gray](), quantity.None[quantity.GraySquareMetre](), quantity.None[quantity.Second]()
	c.PSD, c.PSDLow, c.PSDHigh = quantity.None[quantity.Gray](), quantity.None[quantity.Gray](), quantity.None[quantity.Gray]()
	c.Effective, c.EffectiveLow, c.EffectiveHigh = quantity.None[quantity.Sievert](), quantity.None[quantity.Sievert](), quantity.None[quantity.Sievert]()
	v.Map, v.Flags, v.Events = nil, nil, nil
	v.Change = "replaced: a dose report of the procedure came, and the announced totals count no longer"
	sum := sha256.Sum256([]byte(before.Digest + " replaced"))
	v.Digest = hex.EncodeToString(sum[:])
	v.Window = store.Window{Touched: []store.Span{days("", 0, 0)}} // the sums of every other case have lost one
	return v
}
