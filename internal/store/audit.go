package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"os"
	"path/filepath"
	"strings"
	"time"

	"afterbeam/internal/audit"
)

const anchorFile = "audit-anchor.json"

// Note appends an audit record of its own, for acts that change no row (a refused request, a sign-in).
func (db *DB) Note(ctx context.Context, actor Actor, r audit.Record) error {
	return db.change(ctx, actor, func(c *change) error { return c.note(ctx, r) })
}

const auditColumns = `sequence, time, actor, role, session, source, action, object, patient, outcome, reason, before, after, version, previous, hash`

func scanAudit(row interface{ Scan(...any) error }) (audit.Record, error) {
	var r audit.Record
	var t dbTime
	err := row.Scan(&r.Sequence, &t, &r.Actor, &r.Role, &r.Session, &r.Source, &r.Action, &r.Object, &r.Patient, &r.Outcome, &r.Reason,
		&r.Before, &r.After, &r.Version, &r.Previous, &r.Hash)
	r.Time = t.Time
	return r, kind(err)
}

// AuditRecords walks the whole chain in order, reading it in pages so that no reader is held for long.
func (db *DB) AuditRecords(ctx context.Context) iter.Seq2[audit.Record, error] {
	return func(yield func(audit.Record, error) bool) {
		after := int64(0)
		for {
			page, err := db.AuditAfter(ctx, after, 1000)
			if err != nil {
				yield(audit.Record{}, err)
				return
			}
			for _, r := range page {
				if !yield(r, nil) {
					return
				}
			}
			if len(page) == 0 {
				return
			}
			after = int64(page[len(page)-1].Sequence)
		}
	}
}

// AuditAfter lists at most limit records of the chain after the one with the given sequence number.
func (db *DB) AuditAfter(ctx context.Context, after int64, limit int) ([]audit.Record, error) {
	return db.Audit(ctx, AuditFilter{After: after, Limit: limit})
}

// AuditFilter narrows a list of audit records. Empty fields do not narrow.
type AuditFilter struct {
	// After is the sequence number of the last record seen; with Newest the list goes back from it, 0 being the end.
	After  int64
	Newest bool
	Actors []string // any of them
	// Action and Object are the beginnings of both.
	Action, Object   string
	Patient, Outcome string
	From, Before     time.Time // From is included
	Limit            int
}

// Audit lists records of the chain, in its order or the newest first.
func (db *DB) Audit(ctx context.Context, f AuditFilter) ([]audit.Record, error) {
	var args []any
	terms, order := []string{"1 = 1"}, "ASC"
	add := func(is bool, term string, value any) {
		if is {
			terms = append(terms, strings.ReplaceAll(term, "?", placeholder(&args, value)))
		}
	}
	if f.Newest {
		order = "DESC"
	}
	add(f.Newest && f.After > 0, "sequence < ?", f.After)
	add(!f.Newest, "sequence > ?", f.After)
	add(f.Action != "", "substr(action, 1, length(?)) = ?", f.Action)
	add(f.Object != "", "substr(object, 1, length(?)) = ?", f.Object)
	add(f.Patient != "", "patient = ?", f.Patient)
	add(f.Outcome != "", "outcome = ?", f.Outcome)
	add(!f.From.IsZero(), "time >= ?", at(f.From))
	add(!f.Before.IsZero(), "time < ?", at(f.Before))
	if len(f.Actors) > 0 {
		marks := make([]string, len(f.Actors))
		for i, actor := range f.Actors {
			marks[i] = placeholder(&args, actor)
		}
		terms = append(terms, "actor IN ("+strings.Join(marks, ", ")+")")
	}
	return rows(ctx, db.read, func(r *sql.Rows) (audit.Record, error) { return scanAudit(r) },
		`SELECT `+auditColumns+` FROM audit WHERE `+strings.Join(terms, " AND ")+` ORDER BY sequence `+order+` LIMIT `+placeholder(&args, f.Limit), args...)
}

// AuditHead gives the end of the chain.
func (db *DB) AuditHead(ctx context.Context) (audit.Head, error) { return lastHead(ctx, db.read) }

// Anchor writes the end of the chain to a file beside the database and gives it back for the log.
func (db *DB) Anchor(ctx context.Context) (audit.Head, error) {
	head, err := db.AuditHead(ctx)
	if err != nil {
		return head, err
	}
	text, err := json.Marshal(head)
	if err != nil {
		return head, err
	}
	name := filepath.Join(db.dir, anchorFile)
	if err := writeDurably(name, append(text, '\n')); err != nil {
		return head, kind(fmt.Errorf("write anchor: %w", err))
	}
	return head, nil
}

// ReadAnchor reads an anchor file; a store that has none yet gives nil.
func (db *DB) ReadAnchor(name string) (*audit.Head, error) {
	if name == "" {
		name = filepath.Join(db.dir, anchorFile)
	}
	text, err := os.ReadFile(name)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil //nolint:nilnil // no anchor yet is not an error
	}
	if err != nil {
		return nil, fmt.Errorf("read anchor: %w", err)
	}
	var head audit.Head
	if err := json.Unmarshal(text, &head); err != nil {
		return nil, fmt.Errorf("%w: anchor file: %w", ErrInvalid, err)
	}
	return &head, nil
}

// writeDurably replaces a small file so that after a crash it is the old or the new one, whole.
func writeDurably(name string, content []byte) (err error) {
	file, err := os.CreateTemp(filepath.Dir(name), filepath.Base(name)+"-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(file.Name()))
		}
	}()
	if _, err := file.Write(content); err != nil {
		return errors.Join(err, file.Close())
	}
	if err := file.Sync(); err != nil {
		return errors.Join(synced(err), file.Close())
	}
	if err := file.Close(); err != nil {
		return err
	}
	if err := os.Rename(file.Name(), name); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(name))
}
