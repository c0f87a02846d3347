package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"afterbeam/internal/audit"
)

// OrganDose is what was computed of the organ doses of a version: Body is the result, or Reason says why there is none.
type OrganDose struct {
	CaseID  string
	Version int
	// Methods names the method and its tables.
	Methods string
	Body    []byte
	Reason  string
	MadeAt  time.Time
}

// wantOrgans asks for the organ doses of a case whose newest version has none by a method; "" asks for nothing. They wait for
// all work on reports.
func (c *change) wantOrgans(ctx context.Context, id, methods string) error {
	if methods == "" {
		return nil
	}
	var made int
	err := c.QueryRowContext(ctx, `SELECT 1 FROM organ_dose o JOIN procedure_case p ON p.id = o.case_id AND p.version = o.version
		WHERE p.id = $1 AND o.methods = $2`, id, methods).Scan(&made)
	if !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	return c.want(ctx, JobOrgans, id, Background)
}

// SaveOrgans keeps organ doses and ends the job. What is there already by the same method stays as it is.
func (db *DB) SaveOrgans(ctx context.Context, j Job, o OrganDose) error {
	return db.change(ctx, System("pipeline"), func(c *change) error {
		result, err := c.ExecContext(ctx, `INSERT INTO organ_dose (case_id, version, methods, body, reason, made_at) VALUES ($1, $2, $3, $4, $5, $6)
			ON CONFLICT (case_id, version, methods) DO NOTHING`, o.CaseID, o.Version, o.Methods, string(o.Body), o.Reason, at(db.now()))
		if err != nil {
			return fmt.Errorf("insert organ doses: %w", err)
		}
		added, err := result.RowsAffected()
		if err != nil {
			return fmt.Errorf("insert organ doses: %w", err)
		}
		if added > 0 {
			reason := o.Methods
			if o.Reason != "" {
				reason = "none: " + o.Reason
			}
			if err := c.note(ctx, audit.Record{Action: "organ_doses.make", Object: fmt.Sprintf("%s/%d", o.CaseID, o.Version), Reason: reason}); err != nil {
				return err
			}
		}
		return c.finish(ctx, j)
	})
}

// Organs gives what was computed last of the organ doses of a version. It returns ErrNotFound when nothing was yet.
func (db *DB) Organs(ctx context.Context, id string, version int) (OrganDose, error) {
	return db.organs(ctx, `case_id = $1 AND version = $2`, id, version)
}

// OrgansBefore gives what was computed last of the organ doses of any version of a case. It returns ErrNotFound when nothing
// was yet.
func (db *DB) OrgansBefore(ctx context.Context, id string) (OrganDose, error) {
	return db.organs(ctx, `case_id = $1`, id)
}

func (db *DB) organs(ctx context.Context, where string, args ...any) (OrganDose, error) {
	var o OrganDose
	var body string
	var made dbTime
	err := db.read.QueryRowContext(ctx, `SELECT case_id, version, methods, body, reason, made_at FROM organ_dose WHERE `+where+`
		ORDER BY version DESC, made_at DESC, methods DESC LIMIT 1`, args...).Scan(&o.CaseID, &o.Version, &o.Methods, &body, &o.Reason, &made)
	o.Body, o.MadeAt = []byte(body), made.Time
	return o, kind(ended(ctx, err))
}
