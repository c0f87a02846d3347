package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/store/object"
)

// ReceiptState is how far a received object has come.
type ReceiptState string

// The states of a receipt.
const (
	ReceiptKept        ReceiptState = "kept"        // on stable storage, not yet read
	ReceiptRead        ReceiptState = "read"        // read and part of a procedure
	ReceiptQuarantined ReceiptState = "quarantined" // kept, but not a usable dose report; the reason says why
	ReceiptDiscarded   ReceiptState = "discarded"   // put aside by a person, with a reason
)

// Receipt says what became of one received object. It names no patient.
type Receipt struct {
	ID          string
	Digest      string
	Size        int64
	Door        string
	Source      string
	ReceivedAt  time.Time
	SOPClass    string
	SOPInstance string
	StudyUID    string
	State       ReceiptState
	Reason      string
}

// Arrival is what a door knows of an object when its bytes are durable.
type Arrival struct {
	Digest      string
	Size        int64
	Door        string
	Source      string
	SOPClass    string
	SOPInstance string
	StudyUID    string
	// SeriesUID and StudyDate (yyyymmdd, as sent) are what lists of objects are searched by.
	SeriesUID, StudyDate string
	// Quarantine is the reason why the object goes to quarantine, "" when it is to be read.
	Quarantine string
	// Priority is how soon it is to be read.
	Priority Priority
}

// Receive makes a stream durable as a temporary file; see object.Store.Receive.
func (db *DB) Receive(ctx context.Context, body io.Reader) (*object.Arrival, error) {
	sender := &watched{body: body}
	a, err := db.objects.Receive(ctx, sender)
	return a, storageKind(err, sender.err)
}

// watched remembers how a sender's stream failed, to tell its failures from those of the disk.
type watched struct {
	body io.Reader
	err  error
}

// Read reads on in the stream.
func (w *watched) Read(p []byte) (int, error) {
	n, err := w.body.Read(p)
	if err != nil && !errors.Is(err, io.EOF) {
		w.err = err
	}
	return n, err
}

// Raw gives received bytes unchanged. It returns object.ErrCorrupt when they are damaged.
func (db *DB) Raw(digest string) ([]byte, error) { return db.kept.Read(digest) }

// storageKind gives a failure of the object store its kind. What the sender did wrong keeps its own.
func storageKind(err, sender error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, object.ErrSync):
		return fmt.Errorf("%w: %w", ErrFatal, err)
	case sender != nil, errors.Is(err, object.ErrTooLarge), errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return err
	}
	return fmt.Errorf("%w: %w", ErrUnavailable, err)
}

// Accept commits the receipt of an object whose bytes are linked in the object store, with the job to read it and the
// audit record, in one transaction. The same bytes again change nothing and give the first receipt with again = true.
func (db *DB) Accept(ctx context.Context, actor Actor, a Arrival) (r Receipt, again bool, err error) {
	err = db.change(ctx, actor, func(c *change) error {
		r, err = receiptOf(ctx, c, a.Digest)
		if err == nil {
			again = true
			return c.hurry(ctx, r, a.Priority)
		}
		if !errors.Is(err, ErrNotFound) {
			return err
		}
		r = Receipt{
			ID: newID(), Digest: a.Digest, Size: a.Size, Door: a.Door, Source: a.Source, ReceivedAt: db.now().UTC().Truncate(time.Microsecond),
			SOPClass: a.SOPClass, SOPInstance: a.SOPInstance, StudyUID: a.StudyUID, State: ReceiptKept,
		}
		if a.Quarantine != "" {
			r.State, r.Reason = ReceiptQuarantined, a.Quarantine
		}
		if err := c.insertReceipt(ctx, r, a); err != nil {
			return err
		}
		if r.State == ReceiptKept {
			if err := c.want(ctx, JobRead, r.ID, a.Priority); err != nil {
				return err
			}
		}
		return c.note(ctx, audit.Record{Action: "report.keep", Object: r.ID, Reason: r.Reason, After: r.Digest})
	})
	return r, again, err
}

// hurry has a receipt that waits to be read in the background read before that, when it came again by a door that does
// not wait.
func (c *change) hurry(ctx context.Context, r Receipt, p Priority) error {
	if r.State != ReceiptKept || p != Live {
		return nil
	}
	if _, err := c.ExecContext(ctx, `UPDATE job SET priority = $3 WHERE kind = $1 AND subject = $2 AND state = 'ready'`, JobRead, r.ID, p); err != nil {
		return fmt.Errorf("hurry job: %w", err)
	}
	return nil
}

func (c *change) insertReceipt(ctx context.Context, r Receipt, a Arrival) error {
	_, err := c.ExecContext(ctx, `INSERT INTO receipt (id, digest, size, door, source, received_at, sop_class, sop_instance, study_uid, state, reason, series_uid, study_date)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)`,
		r.ID, r.Digest, r.Size, r.Door, r.Source, at(r.ReceivedAt), r.SOPClass, r.SOPInstance, r.StudyUID, r.State, r.Reason, a.SeriesUID, a.StudyDate)
	if err != nil {
		return fmt.Errorf("insert receipt: %w", err)
	}
	return nil
}

const receiptColumns = `id, digest, size, door, source, received_at, sop_class, sop_instance, study_uid, state, reason`

func scanReceipt(row interface{ Scan(...any) error }) (Receipt, error) {
	var r Receipt
	var t dbTime
	err := row.Scan(&r.ID, &r.Digest, &r.Size, &r.Door, &r.Source, &t, &r.SOPClass, &r.SOPInstance, &r.StudyUID, &r.State, &r.Reason)
	r.ReceivedAt = t.Time
	return r, kind(err)
}

func receiptOf(ctx context.Context, q querier, digest string) (Receipt, error) {
	return scanReceipt(q.QueryRowContext(ctx, `SELECT `+receiptColumns+` FROM receipt WHERE digest = $1`, digest))
}

// Receipt gives a receipt by its id.
func (db *DB) Receipt(ctx context.Context, id string) (Receipt, error) {
	return scanReceipt(db.read.QueryRowContext(ctx, `SELECT `+receiptColumns+` FROM receipt WHERE id = $1`, id))
}

// Receipts lists receipts of a state, oldest first, after the cursor (the id of the last receipt seen, "" for the
// start).
func (db *DB) Receipts(ctx context.Context, state ReceiptState, after string, limit int) ([]Receipt, error) {
	args := []any{state}
	query := `SELECT ` + receiptColumns + ` FROM receipt WHERE state = $1`
	if after != "" {
		if err := cursor(ctx, db.read, "receipt", after); err != nil {
			return nil, err
		}
		query += ` AND (received_at, id) > (SELECT received_at, id FROM receipt WHERE id = ` + placeholder(&args, after) + `)`
	}
	query += ` ORDER BY received_at, id LIMIT ` + placeholder(&args, limit)
	return rows(ctx, db.read, func(r *sql.Rows) (Receipt, error) { return scanReceipt(r) }, query, args...)
}

// setReceipt moves a receipt to a state with a reason.
func (c *change) setReceipt(ctx context.Context, id string, state ReceiptState, reason string) error {
	return c.one(ctx, "set receipt state", `UPDATE receipt SET state = $2, reason = $3 WHERE id = $1`, id, state, reason)
}

// one runs a statement that must change exactly one row; none is ErrNotFound.
func (c *change) one(ctx context.Context, doing, statement string, args ...any) error {
	result, err := c.ExecContext(ctx, statement, args...)
	if err != nil {
		return fmt.Errorf("%s: %w", doing, err)
	}
	n, err := result.RowsAffected()
	if err != nil {
		return fmt.Errorf("%s: %w", doing, err)
	}
	if n != 1 {
		return fmt.Errorf("%s: %w", doing, ErrNotFound)
	}
	return nil
}

// Reread puts a quarantined or discarded receipt, or one whose reading failed for good, back to be read once more.
func (db *DB) Reread(ctx context.Context, actor Actor, id, reason string) error {
	return db.change(ctx, actor, func(c *change) error {
		var failed int
		if err := c.QueryRowContext(ctx, `SELECT COUNT(*) FROM job WHERE kind = $1 AND subject = $2 AND state = 'failed'`, JobRead, id).Scan(&failed); err != nil {
			return err
		}
		states := []ReceiptState{ReceiptQuarantined, ReceiptDiscarded}
		if failed > 0 {
			states = append(states, ReceiptKept)
		}
		if err := c.inState(ctx, id, states...); err != nil {
			return err
		}
		if err := c.setReceipt(ctx, id, ReceiptKept, ""); err != nil {
			return err
		}
		// A person's word lets it begin anew.
		if _, err := c.ExecContext(ctx, `UPDATE job SET attempt = 0, state = 'done' WHERE kind = $1 AND subject = $2 AND state = 'failed'`, JobRead, id); err != nil {
			return fmt.Errorf("begin job anew: %w", err)
		}
		if err := c.want(ctx, JobRead, id, Live); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "quarantine.reread", Object: id, Reason: reason})
	})
}

// Discard puts a quarantined receipt aside for good; its bytes stay. A reason is wanted.
func (db *DB) Discard(ctx context.Context, actor Actor, id, reason string) error {
	if reason == "" {
		return fmt.Errorf("%w: discarding wants a reason", ErrInvalid)
	}
	return db.change(ctx, actor, func(c *change) error {
		if err := c.inState(ctx, id, ReceiptQuarantined); err != nil {
			return err
		}
		if err := c.setReceipt(ctx, id, ReceiptDiscarded, reason); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "quarantine.discard", Object: id, Reason: reason})
	})
}

func (c *change) inState(ctx context.Context, id string, states ...ReceiptState) error {
	var state ReceiptState
	if err := c.QueryRowContext(ctx, `SELECT state FROM receipt WHERE id = $1`, id).Scan(&state); err != nil {
		return err
	}
	for _, s := range states {
		if s == state {
			return nil
		}
	}
	return fmt.Errorf("%w: the receipt is %s", ErrConflict, state)
}
