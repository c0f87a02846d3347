package store

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"afterbeam/internal/audit"
	"afterbeam/internal/store/object"
)

// Backup copies the store to a new folder: first the database by VACUUM INTO, then every object, so that each receipt in
// the copy has its bytes. The database file itself is never opened for copying: closing it would drop SQLite's locks.
func (db *DB) Backup(ctx context.Context, to string) (err error) {
	if entries, err := os.ReadDir(to); err == nil && len(entries) > 0 {
		return fmt.Errorf("%w: backup folder %q is not empty", ErrConflict, to)
	}
	if err := os.MkdirAll(to, 0o700); err != nil {
		return fmt.Errorf("make backup folder: %w", err)
	}
	if _, err := db.write.ExecContext(ctx, `VACUUM INTO $1`, filepath.Join(to, databaseFile)); err != nil {
		return kind(fmt.Errorf("copy database: %w", err))
	}
	copyStore, err := object.New(object.Disk{}, to, DefaultObjectLimit)
	if err != nil {
		return err
	}
	if err := copyObjects(ctx, db.objects, copyStore); err != nil {
		return err
	}
	head, err := db.AuditHead(ctx)
	if err != nil {
		return err
	}
	return db.Note(ctx, System("backup"), audit.Record{Action: "store.backup", After: head.Hash})
}

func copyObjects(ctx context.Context, from, to *object.Store) error {
	return from.Digests(func(digest string) error {
		raw, err := from.Read(digest)
		if err != nil {
			return fmt.Errorf("read object for backup: %w", err)
		}
		a, err := to.Receive(ctx, bytes.NewReader(raw))
		if err != nil {
			return fmt.Errorf("copy object: %w", err)
		}
		return a.Keep()
	})
}

// Restore puts a backup into a new, empty folder and verifies it there. The service must not run on that folder.
func Restore(ctx context.Context, from, to, program string) (Verification, error) {
	if entries, err := os.ReadDir(to); err == nil && len(entries) > 0 {
		return Verification{}, fmt.Errorf("%w: folder %q is not empty; a restore never overwrites", ErrConflict, to)
	}
	if err := os.MkdirAll(to, 0o700); err != nil {
		return Verification{}, fmt.Errorf("make folder: %w", err)
	}
	if err := copyFile(filepath.Join(from, databaseFile), filepath.Join(to, databaseFile)); err != nil {
		return Verification{}, fmt.Errorf("restore database: %w", err)
	}
	source, err := object.New(object.Disk{}, from, DefaultObjectLimit)
	if err != nil {
		return Verification{}, err
	}
	target, err := object.New(object.Disk{}, to, DefaultObjectLimit)
	if err != nil {
		return Verification{}, err
	}
	if err := copyObjects(ctx, source, target); err != nil {
		return Verification{}, err
	}
	db, err := Open(ctx, Config{Dir: to, Program: program})
	if err != nil {
		return Verification{}, err
	}
	v, err := db.Verify(ctx, nil)
	return v, errors.Join(err, db.Close())
}

// Verification is what a check of the whole store found.
type Verification struct {
	Objects, Receipts, AuditRecords int
	// Missing lists receipts without their bytes, Corrupt objects whose bytes have changed, Orphans objects that no
	// receipt names: a crash between link and commit leaves those, and they are harmless.
	Missing, Corrupt, Orphans []string
	// Chain is what is wrong with the audit chain, nil when it is whole; Database what SQLite's own check says.
	Chain    error
	Database string
}

// Sound tells whether nothing was lost or changed.
func (v Verification) Sound() bool {
	return len(v.Missing) == 0 && len(v.Corrupt) == 0 && v.Chain == nil && v.Database == "ok"
}

// Verify checks every object's digest, every receipt's object, the audit chain (against the anchor when one is given)
// and the database's own integrity.
func (db *DB) Verify(ctx context.Context, anchor *audit.Head) (Verification, error) {
	var v Verification
	digests, err := rows(ctx, db.read, func(r *sql.Rows) (string, error) {
		var d string
		return d, r.Scan(&d)
	}, `SELECT digest FROM receipt ORDER BY digest`)
	if err != nil {
		return v, err
	}
	v.Receipts = len(digests)
	named := make(map[string]bool, len(digests))
	for _, d := range digests {
		named[d] = false
	}
	err = db.objects.Digests(func(digest string) error {
		v.Objects++
		if _, err := db.objects.Read(digest); err != nil {
			v.Corrupt = append(v.Corrupt, digest)
		}
		if _, ok := named[digest]; !ok {
			v.Orphans = append(v.Orphans, digest)
		} else {
			named[digest] = true
		}
		return ctx.Err()
	})
	if err != nil {
		return v, fmt.Errorf("walk objects: %w", err)
	}
	for _, d := range digests {
		if !named[d] {
			v.Missing = append(v.Missing, d)
		}
	}
	head, err := audit.Verify(db.AuditRecords(ctx), anchor)
	if err != nil && !errors.Is(err, audit.ErrBroken) {
		return v, err
	}
	v.Chain, v.AuditRecords = err, int(head.Sequence)
	return v, kind(db.read.QueryRowContext(ctx, `PRAGMA integrity_check(1)`).Scan(&v.Database))
}

func copyFile(from, to string) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	if _, err := io.Copy(out, in); err != nil {
		return errors.Join(err, out.Close())
	}
	return errors.Join(out.Sync(), out.Close())
}
