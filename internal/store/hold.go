package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"afterbeam/internal/audit"
)

// Hold keeps retention from removing anything of a patient, or of anybody, while it is in force.
type Hold struct {
	ID        string
	PatientID string // "" holds everything
	Reason    string
	MadeBy    string
	MadeAt    time.Time
	EndedBy   string
	EndedAt   time.Time // zero while it is in force
	EndReason string
}

// holdsPatient is the condition that a hold in force covers the patient of procedure_case c, or everything.
const holdsPatient = `EXISTS (SELECT 1 FROM hold h WHERE h.ended_at = '' AND (h.patient_id IS NULL OR (SELECT survivor FROM patient WHERE id = h.patient_id)
	= (SELECT survivor FROM patient WHERE id = c.patient_id)))`

// AddHold puts what there is of the patient of a case on hold, or everything when the case is "".
func (db *DB) AddHold(ctx context.Context, actor Actor, caseID, reason string) (h Hold, err error) {
	if reason == "" {
		return h, fmt.Errorf("%w: a hold wants a reason", ErrInvalid)
	}
	h = Hold{ID: newID(), Reason: reason, MadeBy: actor.Account, MadeAt: db.now().UTC().Truncate(time.Microsecond)}
	err = db.change(ctx, actor, func(c *change) error {
		if caseID != "" {
			if err := c.QueryRowContext(ctx, `SELECT patient_id FROM procedure_case WHERE id = $1`, caseID).Scan(&h.PatientID); err != nil {
				return err
			}
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO hold (id, patient_id, reason, made_by, made_at) VALUES ($1, $2, $3, $4, $5)`,
			h.ID, sql.NullString{String: h.PatientID, Valid: h.PatientID != ""}, h.Reason, h.MadeBy, at(h.MadeAt)); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "hold.add", Object: h.ID, Patient: h.PatientID, Reason: reason})
	})
	return h, err
}

// EndHold ends a hold that is in force.
func (db *DB) EndHold(ctx context.Context, actor Actor, id, reason string) error {
	if reason == "" {
		return fmt.Errorf("%w: the end of a hold wants a reason", ErrInvalid)
	}
	return db.change(ctx, actor, func(c *change) error {
		if err := c.one(ctx, "end hold", `UPDATE hold SET ended_by = $2, ended_at = $3, end_reason = $4 WHERE id = $1 AND ended_at = ''`, id, actor.Account, at(db.now()), reason); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "hold.end", Object: id, Reason: reason})
	})
}

// Holds lists the holds, those in force first.
func (db *DB) Holds(ctx context.Context) ([]Hold, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Hold, error) {
		var h Hold
		var made, ended dbTime
		err := r.Scan(&h.ID, &h.PatientID, &h.Reason, &h.MadeBy, &made, &h.EndedBy, &ended, &h.EndReason)
		h.MadeAt, h.EndedAt = made.Time, ended.Time
		return h, err
	}, `SELECT id, COALESCE(patient_id, ''), reason, made_by, made_at, ended_by, ended_at, end_reason FROM hold ORDER BY ended_at <> '', made_at, id`)
}
