package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"afterbeam/internal/audit"
)

// Reference names a DICOM object.
type Reference struct {
	SOPClass, SOPInstance string
}

// Commitment is a peer's question whether objects are kept for good, and how far its answer came.
type Commitment struct {
	ID             string
	Peer           string // the AE title that asked
	TransactionUID string
	Instances      []Reference
	Attempts       int
	// DueAt is when its answer is to be tried next. Asked again, a question is due anew.
	DueAt, CreatedAt time.Time
}

// AskCommitment keeps a question until its answer was delivered. The same question again is to be answered again;
// another one under the same transaction UID is ErrConflict.
func (db *DB) AskCommitment(ctx context.Context, actor Actor, c Commitment) (Commitment, error) {
	text, err := json.Marshal(c.Instances)
	if err != nil {
		return c, err
	}
	err = db.change(ctx, actor, func(ch *change) error {
		known, err := scanCommitment(ch.QueryRowContext(ctx, `SELECT `+commitmentColumns+` FROM commitment WHERE peer = $1 AND transaction_uid = $2`, c.Peer, c.TransactionUID))
		switch {
		case errors.Is(err, ErrNotFound):
			c.ID, c.CreatedAt, c.Attempts = newID(), db.now().UTC().Truncate(time.Microsecond), 0
		case err != nil:
			return err
		case !slices.Equal(known.Instances, c.Instances):
			return fmt.Errorf("%w: the transaction UID stands for another question", ErrConflict)
		default:
			c = known
			c.Attempts = 0
		}
		c.DueAt = db.now().UTC().Truncate(time.Microsecond)
		if _, err := ch.ExecContext(ctx, `INSERT INTO commitment (id, peer, transaction_uid, instances, state, due_at, created_at) VALUES ($1, $2, $3, $4, 'pending', $5, $6)
			ON CONFLICT (id) DO UPDATE SET state = 'pending', due_at = $5, attempts = 0`, c.ID, c.Peer, c.TransactionUID, string(text), at(c.DueAt), at(c.CreatedAt)); err != nil {
			return fmt.Errorf("keep commitment: %w", err)
		}
		return ch.note(ctx, audit.Record{Action: "commitment.ask", Object: c.ID})
	})
	return c, err
}

const commitmentColumns = `id, peer, transaction_uid, instances, attempts, due_at, created_at`

func scanCommitment(row interface{ Scan(...any) error }) (Commitment, error) {
	var c Commitment
	var due, made dbTime
	var instances string
	if err := row.Scan(&c.ID, &c.Peer, &c.TransactionUID, &instances, &c.Attempts, &due, &made); err != nil {
		return c, kind(err)
	}
	c.DueAt, c.CreatedAt = due.Time, made.Time
	return c, json.Unmarshal([]byte(instances), &c.Instances)
}

// PendingCommitments gives the questions without a delivered answer: for a peer its own, due or not, the oldest first; for ""
// those of every peer that are due, no more than limit of each, so that one peer's cannot hide another's.
func (db *DB) PendingCommitments(ctx context.Context, peer string, limit int) ([]Commitment, error) {
	query, args := `SELECT `+commitmentColumns+` FROM commitment WHERE id IN
		(SELECT id FROM (SELECT id, row_number() OVER (PARTITION BY peer ORDER BY due_at, id) AS nth FROM commitment WHERE state = 'pending' AND due_at <= $1) AS due
			WHERE nth <= $2) ORDER BY due_at, id`, []any{at(db.now()), limit}
	if peer != "" {
		query, args = `SELECT `+commitmentColumns+` FROM commitment WHERE state = 'pending' AND peer = $1 ORDER BY created_at, id LIMIT $2`, []any{peer, limit}
	}
	return rows(ctx, db.read, func(r *sql.Rows) (Commitment, error) { return scanCommitment(r) }, query, args...)
}

// CommitmentReported says that the answer to a question was delivered. Where the peer asked again meanwhile, that is still to
// be answered.
func (db *DB) CommitmentReported(ctx context.Context, c Commitment, outcome string) error {
	return db.change(ctx, System("dicom"), func(ch *change) error {
		if err := ch.one(ctx, "end commitment", `UPDATE commitment SET state = CASE WHEN due_at > $3 THEN state ELSE 'reported' END, error = '', reported_at = $2 WHERE id = $1`,
			c.ID, at(db.now()), at(c.DueAt)); err != nil {
			return err
		}
		return ch.note(ctx, audit.Record{Action: "commitment.report", Object: c.ID, Reason: outcome})
	})
}

// CommitmentLater says that the answer was not delivered and when to try again; a zero time gives up.
func (db *DB) CommitmentLater(ctx context.Context, id, reason string, due time.Time) error {
	return db.change(ctx, System("dicom"), func(c *change) error {
		state := "pending"
		if due.IsZero() {
			state, due = "given up", db.now()
			if err := c.note(ctx, audit.Record{Action: "commitment.report", Object: id, Outcome: "failed", Reason: reason}); err != nil {
				return err
			}
		}
		return c.one(ctx, "put commitment off", `UPDATE commitment SET state = $2, attempts = attempts + 1, due_at = $3, error = $4 WHERE id = $1`, id, state, at(due), reason)
	})
}

// Kept gives the classes and digests of the objects with a SOP instance UID whose bytes are kept, those in quarantine
// included.
func (db *DB) Kept(ctx context.Context, sopInstance string) ([]Receipt, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Receipt, error) { return scanReceipt(r) },
		`SELECT `+receiptColumns+` FROM receipt WHERE sop_instance = $1 ORDER BY received_at, id`, sopInstance)
}
