package store

import (
	"context"
	"database/sql"
	"time"

	"afterbeam/internal/audit"
)

// Upkeep is a kind of work that is done for the store itself.
type Upkeep string

// The kinds.
const (
	BackupRun    Upkeep = "backup"
	DrillRun     Upkeep = "drill"
	ChainRun     Upkeep = "audit check"
	RetentionRun Upkeep = "retention"
)

// Run is one time that such work was done.
type Run struct {
	ID      int64
	Kind    Upkeep
	BegunAt time.Time
	EndedAt time.Time // zero while it runs, or when it was broken off
	// Outcome is begun, sound or failed.
	Outcome string
	// Detail says in words what came of it.
	Detail string
}

// Sound tells whether the run ended well.
func (r Run) Sound() bool { return r.Outcome == soundOutcome }

const (
	soundOutcome  = "sound"
	failedOutcome = "failed"
	// runsKept is how many runs of a kind stay listed; the audit record keeps them all.
	runsKept = 100
)

// BeginRun writes down that a run has begun.
func (db *DB) BeginRun(ctx context.Context, kind Upkeep) (id int64, err error) {
	err = db.change(ctx, System(string(kind)), func(c *change) error {
		if _, err := c.ExecContext(ctx, `DELETE FROM upkeep WHERE kind = $1 AND id NOT IN (SELECT id FROM upkeep WHERE kind = $1 ORDER BY id DESC LIMIT $2)`, kind, runsKept); err != nil {
			return err
		}
		return c.QueryRowContext(ctx, `INSERT INTO upkeep (kind, begun_at, outcome) VALUES ($1, $2, 'begun') RETURNING id`, kind, at(db.now())).Scan(&id)
	})
	return id, err
}

// EndRun writes down what came of a run, with an audit record; failed is nil when it ended well.
func (db *DB) EndRun(ctx context.Context, actor Actor, id int64, detail string, failed error) error {
	outcome, told := soundOutcome, "done"
	if failed != nil {
		outcome, told = failedOutcome, "failed"
	}
	return db.change(ctx, actor, func(c *change) error {
		var kind string
		if err := c.QueryRowContext(ctx, `UPDATE upkeep SET ended_at = $2, outcome = $3, detail = $4 WHERE id = $1 RETURNING kind`, id, at(db.now()), outcome, detail).Scan(&kind); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "upkeep.end", Object: kind, Outcome: told, Reason: detail})
	})
}

const runColumns = `id, kind, begun_at, ended_at, outcome, detail`

func scanRun(row interface{ Scan(...any) error }) (Run, error) {
	var r Run
	var begun, ended dbTime
	err := row.Scan(&r.ID, &r.Kind, &begun, &ended, &r.Outcome, &r.Detail)
	r.BegunAt, r.EndedAt = begun.Time, ended.Time
	return r, kind(err)
}

// Runs lists the latest runs of a kind, newest first.
func (db *DB) Runs(ctx context.Context, kind Upkeep, limit int) ([]Run, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Run, error) { return scanRun(r) },
		`SELECT `+runColumns+` FROM upkeep WHERE kind = $1 ORDER BY id DESC LIMIT $2`, kind, limit)
}

// LastSound gives the newest run of a kind that ended well; ErrNotFound when there is none.
func (db *DB) LastSound(ctx context.Context, kind Upkeep) (Run, error) {
	return scanRun(db.read.QueryRowContext(ctx, `SELECT `+runColumns+` FROM upkeep WHERE kind = $1 AND outcome = 'sound' ORDER BY id DESC LIMIT 1`, kind))
}

// SchemaVersion gives the number of the newest migration that the database has.
func (db *DB) SchemaVersion(ctx context.Context) (version int64, err error) {
	err = db.read.QueryRowContext(ctx, `SELECT MAX(version_id) FROM goose_db_version`).Scan(&version)
	return version, kind(err)
}
