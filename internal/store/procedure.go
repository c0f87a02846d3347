package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"afterbeam/internal/audit"
)

// Later asks for a study to be assessed at a time to come.
type Later struct {
	Study string
	Due   time.Time // the zero time is now
}

// SaveAssessment stores the cases that a study gave, each as a new version where anything changed, with flags in the
// same transaction, asks for what must follow, and ends the job. It gives the ids of the cases in order.
func (db *DB) SaveAssessment(ctx context.Context, j Job, versions []Version, later ...Later) (ids []string, err error) {
	err = db.change(ctx, System("pipeline"), func(c *change) error {
		ids = ids[:0]
		c.doses = c.doses || len(versions) == 0 // its reports waited, and gave no case
		var recomputations []string
		if j.Kind == JobAssess {
			if recomputations, err = c.open(ctx, j.Subject); err != nil {
				return err
			}
		}
		for _, v := range versions {
			id, err := c.saveVersion(ctx, v, j.Priority, recomputations)
			if err != nil {
				return err
			}
			ids = append(ids, id)
			if err := c.keepSkin(ctx, v.Skin); err != nil {
				return err
			}
			if err := c.wantOrgans(ctx, id, v.OrganMethods); err != nil {
				return err
			}
			if err := c.keepNames(ctx, id, v.Names); err != nil {
				return err
			}
		}
		for i, v := range versions {
			if err := c.follow(ctx, v, ids[i], j.Priority, recomputations); err != nil {
				return err
			}
		}
		if err := c.settleStudies(ctx, j, recomputations); err != nil {
			return err
		}
		// Ended first: a job that asks for itself later is ready again afterwards.
		if err := c.finish(ctx, j); err != nil {
			return err
		}
		for _, l := range later {
			if err := c.wantAt(ctx, JobAssess, l.Study, j.Priority, l.Due); err != nil {
				return err
			}
		}
		return nil
	})
	return ids, err
}

func (c *change) saveVersion(ctx context.Context, v Version, priority Priority, recomputations []string) (string, error) {
	v.MadeAt, v.Program = c.db.now(), c.db.program
	var digest string
	err := c.QueryRowContext(ctx, `SELECT p.id, p.version, v.digest FROM procedure_case p
		JOIN procedure_version v ON v.procedure_id = p.id AND v.version = p.version
		WHERE p.study_uid = $1 AND p.device_key = $2 AND p.patient_id = $3`, v.Case.StudyUID, v.Case.DeviceKey, v.Case.PatientID).
		Scan(&v.Case.ID, &v.Number, &digest)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		v.Case.ID, v.Number = newID(), 0
	case err != nil:
		return "", err
	case digest == v.Digest:
		// Traits of a version that an older program made may be lacking.
		if err := c.writeTraits(ctx, v.Case.ID, v.Traits); err != nil {
			return "", err
		}
		return v.Case.ID, c.settled(ctx, v.Case.ID, "")
	}
	first := v.Number == 0
	v.Number++
	v.Case.Version = v.Number
	if err := c.differ(ctx, recomputations, v.Case); err != nil {
		return "", err
	}
	if err := c.writeVersion(ctx, v); err != nil {
		return "", err
	}
	if first {
		if err := c.followFirst(ctx, v.Case, priority); err != nil {
			return "", err
		}
	}
	if err := c.settled(ctx, v.Case.ID, v.Change); err != nil {
		return "", err
	}
	if err := c.queueWith(ctx, v); err != nil {
		return "", err
	}
	return v.Case.ID, c.note(ctx, audit.Record{
		Action: "estimate.make", Object: fmt.Sprintf("%s/%d", v.Case.ID, v.Number), Patient: v.Case.PatientID, Reason: v.Change, Before: digest, After: v.Digest,
	})
}

// settled brings what follows from a case in line with its newest version: flags and asks, and its row for summaries.
func (c *change) settled(ctx context.Context, caseID, why string) error {
	if err := c.followUp(ctx, caseID, why); err != nil {
		return err
	}
	return c.summarise(ctx, "k.id = $1", caseID)
}

// writeVersion writes a version with its flags and events, and its numbers as those of the case.
func (c *change) writeVersion(ctx context.Context, v Version) error {
	if err := c.writeCase(ctx, v); err != nil {
		return err
	}
	if err := c.one(ctx, "note pregnancy", `UPDATE procedure_case SET pregnant = $2 WHERE id = $1`, v.Case.ID, v.Pregnant); err != nil {
		return err
	}
	if err := c.writeTraits(ctx, v.Case.ID, v.Traits); err != nil {
		return err
	}
	if _, err := c.ExecContext(ctx, `INSERT INTO procedure_version (procedure_id, version, made_at, program, methods, digest, change, summary, body, map)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
		v.Case.ID, v.Number, at(v.MadeAt), v.Program, v.Methods, v.Digest, v.Change, string(v.Summary), v.Body, v.Map); err != nil {
		return fmt.Errorf("insert version: %w", err)
	}
	if err := c.writeFlags(ctx, v); err != nil {
		return err
	}
	return c.writeEvents(ctx, v)
}

// followFirst does what the first version of a case brings with it. What performed steps said before there was a case
// becomes facts of it now, and another estimate with them.
func (c *change) followFirst(ctx context.Context, first Case, priority Priority) error {
	if first.Basis == BasisReport {
		if err := c.wantTotals(ctx, first, priority); err != nil {
			return err
		}
	}
	added, err := c.factsFromSteps(ctx, first.StudyUID)
	if err != nil || !added {
		return err
	}
	return c.want(ctx, JobAssess, first.StudyUID, priority)
}

func (c *change) writeCase(ctx context.Context, v Version) error {
	c.doses = true
	p := v.Case
	_, offset := p.Start.Zone()
	_, err := c.ExecContext(ctx, `INSERT INTO procedure_case (id, study_uid, device_key, patient_id, room, state, start_at, local_date, start_offset, offset_source,
			class, description, quality, version, flag_state, kerma_gy, kap_gym2, fluoro_s, psd_gy, psd_low_gy, psd_high_gy, psd_method,
			effective_sv, effective_low_sv, effective_high_sv, effective_method, complete_doses, updated_at, gaps, kerma_factor, kap_factor, field_m2, has_map, accession, basis)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23, $24, $25, $26, $27, $28, $29, $30, $31, $32, $33, $34, $35)
		ON CONFLICT (id) DO UPDATE SET room = $5, state = $6, start_at = $7, local_date = $8, start_offset = $9, offset_source = $10, class = $11, description = $12,
			quality = $13, version = $14, flag_state = $15, kerma_gy = $16, kap_gym2 = $17, fluoro_s = $18, psd_gy = $19, psd_low_gy = $20, psd_high_gy = $21,
			psd_method = $22, effective_sv = $23, effective_low_sv = $24, effective_high_sv = $25, effective_method = $26, complete_doses = $27, updated_at = $28, gaps = $29, kerma_factor = $30, kap_factor = $31, field_m2 = $32, has_map = $33, accession = $34, basis = $35`,
		p.ID, p.StudyUID, p.DeviceKey, p.PatientID, p.Room, p.State, at(p.Start), p.LocalDate, offset, p.OffsetSource, p.Class, p.Description, p.Quality,
		p.Version, p.FlagState, null(p.Kerma), null(p.KAP), null(p.FluoroTime), null(p.PSD), null(p.PSDLow), null(p.PSDHigh), p.PSDMethod,
		null(p.Effective), null(p.EffectiveLow), null(p.EffectiveHigh), p.EffectiveMethod, p.Complete, at(v.MadeAt),
		p.Gaps, null(p.KermaFactor), null(p.KAPFactor), null(p.FieldAtSkin), len(v.Map) > 0, p.Accession, p.Basis)
	if err != nil {
		return fmt.Errorf("write case: %w", err)
	}
	return nil
}

// writeEvents says which events the case has now; those it had in an older version only are of no case any more.
func (c *change) writeEvents(ctx context.Context, v Version) (err error) {
	if _, err := c.ExecContext(ctx, `DELETE FROM event_place WHERE procedure_id = $1`, v.Case.ID); err != nil {
		return fmt.Errorf("clear event places: %w", err)
	}
	insert, err := c.PrepareContext(ctx, `INSERT INTO event_place (event_uid, plane, procedure_id) VALUES ($1, $2, $3)
		ON CONFLICT (event_uid, plane, procedure_id) DO NOTHING`)
	if err != nil {
		return fmt.Errorf("insert event places: %w", err)
	}
	defer func() { err = errors.Join(err, insert.Close()) }()
	for _, e := range v.Events {
		if _, err := insert.ExecContext(ctx, e.UID, e.Plane, v.Case.ID); err != nil {
			return fmt.Errorf("insert event place: %w", err)
		}
	}
	return nil
}
