package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"afterbeam/internal/audit"
)

// Fact is one thing that a person added to a procedure. The newest of a name holds; older ones stay.
type Fact struct {
	Sequence int64
	Name     string
	Value    string
	Source   string
	Author   string
	Reason   string
	MadeAt   time.Time
}

// AddFacts adds facts to a case and asks for a new assessment of its study. tag is the tag of the case as the caller saw
// it (see Tag); another one is ErrConflict.
func (db *DB) AddFacts(ctx context.Context, actor Actor, id, tag string, facts []Fact) error {
	if len(facts) == 0 {
		return fmt.Errorf("%w: no facts", ErrInvalid)
	}
	return db.change(ctx, actor, func(c *change) error {
		now, err := caseTag(ctx, c, id)
		if err != nil {
			return err
		}
		if now != tag {
			return fmt.Errorf("%w: the case has tag %s now", ErrConflict, now)
		}
		var study, patient string
		if err := c.QueryRowContext(ctx, `SELECT study_uid, patient_id FROM procedure_case WHERE id = $1`, id).Scan(&study, &patient); err != nil {
			return err
		}
		for _, f := range facts {
			if _, err := c.ExecContext(ctx, `INSERT INTO fact (procedure_id, name, value, source, author, reason, made_at) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
				id, f.Name, f.Value, f.Source, actor.Account, f.Reason, at(db.now())); err != nil {
				return fmt.Errorf("insert fact: %w", err)
			}
			if err := c.note(ctx, audit.Record{Action: "facts.add", Object: id, Patient: patient, Reason: f.Reason, After: f.Name}); err != nil {
				return err
			}
		}
		return c.want(ctx, JobAssess, study, Live)
	})
}

// Facts lists the facts of a case, oldest first.
func (db *DB) Facts(ctx context.Context, id string) ([]Fact, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Fact, error) {
		var f Fact
		var t dbTime
		err := r.Scan(&f.Sequence, &f.Name, &f.Value, &f.Source, &f.Author, &f.Reason, &t)
		f.MadeAt = t.Time
		return f, err
	}, `SELECT id, name, value, source, author, reason, made_at FROM fact WHERE procedure_id = $1 ORDER BY id`, id)
}

// CaseOf gives the id of the case of a study, device and patient, or ErrNotFound before its first assessment.
func (db *DB) CaseOf(ctx context.Context, study, device, patient string) (string, error) {
	var id string
	err := db.read.QueryRowContext(ctx, `SELECT id FROM procedure_case WHERE study_uid = $1 AND device_key = $2 AND patient_id = $3`, study, device, patient).Scan(&id)
	return id, kind(err)
}

// Tag names the state of a case for conditional changes: its version and its newest fact.
func (db *DB) Tag(ctx context.Context, id string) (string, error) { return caseTag(ctx, db.read, id) }

func caseTag(ctx context.Context, q querier, id string) (string, error) {
	var version, fact int64
	err := q.QueryRowContext(ctx, `SELECT version, COALESCE((SELECT MAX(id) FROM fact WHERE procedure_id = $1), 0) FROM procedure_case WHERE id = $1`, id).
		Scan(&version, &fact)
	return fmt.Sprintf("%d-%d", version, fact), kind(err)
}
