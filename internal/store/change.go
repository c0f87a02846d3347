package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"afterbeam/internal/audit"
	"afterbeam/internal/crashpoint"
)

// Actor is who or what makes a change or sees patient data.
type Actor struct {
	Account string // account id, or the name of a door or worker
	Role    string
	Session string // token or session id
	Source  string // network address or folder
}

// System is the actor of the service's own work.
func System(part string) Actor { return Actor{Account: part, Role: "service"} }

// change is one transaction and the audit records that go with it.
type change struct {
	*sql.Tx
	db    *DB
	actor Actor
	head  *audit.Head
	// noting appends an audit record; it is there once one was.
	noting *sql.Stmt
	// doses tells that what patients received, or who is one patient, is changed.
	doses bool
}

// change runs f in one transaction; the audit records that f notes are committed with it or not at all.
func (db *DB) change(ctx context.Context, actor Actor, f func(c *change) error) (err error) {
	tx, err := db.write.BeginTx(ctx, nil)
	if err != nil {
		return kind(fmt.Errorf("begin: %w", err))
	}
	// Also after a panic: a transaction left open would hold the only writer for ever.
	defer func() {
		if e := tx.Rollback(); e != nil && !errors.Is(e, sql.ErrTxDone) {
			err = errors.Join(err, kind(e))
		}
	}()
	c := &change{Tx: tx, db: db, actor: actor}
	if err := f(c); err != nil {
		return kind(ended(ctx, err))
	}
	if c.doses {
		// Also when the commit fails, since it may be there all the same.
		defer db.doses.Add(1)
	}
	crashpoint.Reached(crashpoint.BeforeCommit)
	if err := tx.Commit(); err != nil {
		return kind(ended(ctx, fmt.Errorf("commit: %w", err)))
	}
	crashpoint.Reached(crashpoint.AfterCommit)
	return nil
}

// ended gives an error the context's own kind when the context ended the work: the database then only says that it was
// interrupted or that the transaction is over.
func ended(ctx context.Context, err error) error {
	if cause := ctx.Err(); cause != nil && !errors.Is(err, cause) && (errors.Is(err, sql.ErrTxDone) || interrupted(err)) {
		return fmt.Errorf("%w: %w", cause, err)
	}
	return err
}

// note appends an audit record for the change's actor.
func (c *change) note(ctx context.Context, r audit.Record) error {
	if c.head == nil {
		head, err := lastHead(ctx, c.Tx)
		if err != nil {
			return err
		}
		c.head = &head
	}
	if r.Actor == "" {
		r.Actor, r.Role, r.Session, r.Source = c.actor.Account, c.actor.Role, c.actor.Session, c.actor.Source
	}
	if r.Outcome == "" {
		r.Outcome = "done"
	}
	r.Version = c.db.program
	r = audit.Seal(r, *c.head, c.db.now())
	*c.head = r.Head()
	if c.noting == nil {
		c.noting = c.StmtContext(ctx, c.db.noting) // ends with the transaction
	}
	_, err := c.noting.ExecContext(ctx, r.Sequence, at(r.Time), r.Actor, r.Role, r.Session, r.Source, r.Action, r.Object, r.Patient, r.Outcome, r.Reason, r.Before, r.After, r.Version, r.Previous, r.Hash)
	if err != nil {
		// A transaction that ctx ended has closed its statements, which is an error without a name.
		return errors.Join(ctx.Err(), fmt.Errorf("append audit record: %w", err))
	}
	return nil
}

// querier is a database or a transaction.
const appendAudit = `INSERT INTO audit (` + auditColumns + `)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)`

type querier interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

func lastHead(ctx context.Context, q querier) (audit.Head, error) {
	var h audit.Head
	var t dbTime
	err := q.QueryRowContext(ctx, `SELECT sequence, time, hash FROM audit ORDER BY sequence DESC LIMIT 1`).Scan(&h.Sequence, &t, &h.Hash)
	if errors.Is(err, sql.ErrNoRows) {
		return audit.Head{Hash: audit.Genesis}, nil
	}
	if err != nil {
		return audit.Head{}, fmt.Errorf("read end of audit chain: %w", err)
	}
	h.Time = t.Time
	return h, nil
}

// cursor refuses a cursor that is no row of its table.
func cursor(ctx context.Context, q querier, table, id string) error {
	var there int
	err := q.QueryRowContext(ctx, `SELECT 1 FROM `+table+` WHERE id = $1`, id).Scan(&there)
	if errors.Is(err, sql.ErrNoRows) {
		return ErrCursor
	}
	return kind(err)
}

// snapshot lets f read several things as they stood at one moment.
func (db *DB) snapshot(ctx context.Context, f func(q querier) error) (err error) {
	tx, err := db.read.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return kind(fmt.Errorf("begin reading: %w", err))
	}
	defer func() {
		if e := tx.Rollback(); e != nil && !errors.Is(e, sql.ErrTxDone) {
			err = errors.Join(err, kind(e))
		}
	}()
	return f(tx)
}

// rows runs a query and scans every row.
func rows[T any](ctx context.Context, q querier, scan func(*sql.Rows) (T, error), query string, args ...any) (_ []T, err error) {
	r, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, kind(ended(ctx, err))
	}
	defer func() {
		if e := r.Close(); err == nil {
			err = kind(e)
		}
	}()
	var all []T
	for r.Next() {
		one, err := scan(r)
		if err != nil {
			return nil, kind(err)
		}
		all = append(all, one)
	}
	return all, kind(ended(ctx, r.Err()))
}
