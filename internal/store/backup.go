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
// the copy has its bytes. It reads, so that doors and workers go on meanwhile. The database file itself is never opened
// for copying: closing it would drop SQLite's locks. An object that cannot be read does not keep the others from being
// copied; the backup then fails at its end, naming it.
func (db *DB) Backup(ctx context.Context, to string) (err error) {
	if err := makeEmpty(to); err != nil {
		return err
	}
	name := filepath.Join(to, databaseFile)
	if err := db.copyDatabase(ctx, name); err != nil {
		return kind(fmt.Errorf("copy database: %w", err))
	}
	target, err := object.New(object.Disk{}, to, largestObject)
	if err != nil {
		return err
	}
	if err := copyObjects(ctx, db.kept, target); err != nil {
		return err
	}
	if err := syncFolder(to); err != nil {
		return kind(err)
	}
	head, err := db.AuditHead(ctx)
	if err != nil {
		return err
	}
	return db.Note(ctx, System("backup"), audit.Record{Action: "store.backup", After: head.Hash})
}

// copyDatabase writes the database as it stands now to a new file. It does so on a connection of its own: the writer
// would keep everyone waiting, and the readers may write nowhere.
func (db *DB) copyDatabase(ctx context.Context, to string) (err error) {
	own, err := sql.Open("sqlite", dsn(filepath.Join(db.dir, databaseFile), false))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, own.Close()) }()
	own.SetMaxOpenConns(1)
	if err := private(to); err != nil {
		return err
	}
	if _, err := own.ExecContext(ctx, `VACUUM INTO $1`, to); err != nil {
		return ended(ctx, err)
	}
	return syncFile(to)
}

// makeEmpty makes a folder and refuses one that holds anything.
func makeEmpty(dir string) error {
	entries, err := os.ReadDir(dir)
	if err == nil && len(entries) > 0 {
		return fmt.Errorf("%w: %q, and nothing is ever overwritten", ErrNotEmpty, dir)
	}
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("look into folder: %w", err)
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("make folder: %w", err)
	}
	return kind(syncFolder(filepath.Dir(dir)))
}

// copyObjects copies every object; those that cannot be read are left out and told at the end.
func copyObjects(ctx context.Context, from, to *object.Store) error {
	var unread []error
	err := from.Digests(func(digest string) error {
		raw, err := from.Read(digest)
		if err != nil {
			unread = append(unread, fmt.Errorf("read object: %w", err))
			return ctx.Err()
		}
		a, err := to.Receive(ctx, bytes.NewReader(raw))
		if err != nil {
			return kind(fmt.Errorf("copy object: %w", err))
		}
		return kind(a.Keep())
	})
	return errors.Join(append(unread, err)...)
}

// Restore puts a backup into a new, empty folder and verifies it there. What is damaged in the backup is damaged in the
// restored store as well, and the verification says so. The service must not run on that folder.
func Restore(ctx context.Context, from, to, program string) (Verification, error) {
	damaged, err := Unpack(ctx, from, to)
	if err != nil {
		return Verification{}, err
	}
	db, err := Open(ctx, Config{Dir: to, Program: program})
	if err != nil {
		return Verification{}, err
	}
	v, err := db.Verify(ctx, nil)
	return v, errors.Join(damaged, err, db.Close())
}

// Unpack copies a backup into a new, empty folder, without opening it there. Objects that are damaged in the backup are left
// out and named by damaged; everything else that goes wrong is err.
func Unpack(ctx context.Context, from, to string) (damaged, err error) {
	name := filepath.Join(from, databaseFile)
	if log, err := os.Stat(name + "-wal"); err == nil && log.Size() > 0 {
		return nil, fmt.Errorf("%w: %q is a store in use or was not closed, no backup", ErrInvalid, from)
	}
	if _, err := os.Stat(name); err != nil {
		return nil, fmt.Errorf("%w: no backup in %q", ErrNotFound, from)
	}
	if err := makeEmpty(to); err != nil {
		return nil, err
	}
	if err := copyFile(name, filepath.Join(to, databaseFile)); err != nil {
		return nil, kind(fmt.Errorf("restore database: %w", err))
	}
	source, err := object.New(object.Disk{}, from, largestObject)
	if err != nil {
		return nil, err
	}
	target, err := object.New(object.Disk{}, to, largestObject)
	if err != nil {
		return nil, err
	}
	damaged = copyObjects(ctx, source, target)
	if damaged != nil && !errors.Is(damaged, object.ErrCorrupt) && !errors.Is(damaged, object.ErrNotFound) {
		return nil, damaged
	}
	return damaged, kind(syncFolder(to))
}

// VerifyBackup verifies a backup where it lies.
func VerifyBackup(ctx context.Context, dir, program string) (Verification, error) {
	db, err := Open(ctx, Config{Dir: dir, Program: program, Beside: true})
	if err != nil {
		return Verification{}, err
	}
	v, err := db.Verify(ctx, nil)
	return v, errors.Join(err, db.Close())
}

// Verification is what a check of the whole store found.
type Verification struct {
	Objects, Receipts, AuditRecords int
	// Missing lists receipts, papers and releases without their bytes, Corrupt objects whose bytes have changed, Orphans objects
	// that none of them names: a crash between link and commit leaves those, and they are harmless.
	Missing, Corrupt, Orphans []string
	// Chain is what is wrong with the audit chain, nil when it is whole; Database what SQLite's own check says.
	Chain    error
	Database string
	// Summaries counts the rows of summaries that differ from the cases they are made of.
	Summaries int
}

// Sound tells whether nothing was lost or changed.
func (v Verification) Sound() bool {
	return len(v.Missing) == 0 && len(v.Corrupt) == 0 && v.Chain == nil && v.Database == "ok" && v.Summaries == 0
}

// Verify checks every object's digest, every receipt's object, the audit chain (against the anchor when one is given)
// and the database's own integrity. It may run while the store works.
func (db *DB) Verify(ctx context.Context, anchor *audit.Head) (Verification, error) {
	var v Verification
	// Receipts, papers and releases first: an object is there before its row, so that none of these may lack its own.
	digest := func(r *sql.Rows) (string, error) {
		var d string
		return d, r.Scan(&d)
	}
	digests, err := rows(ctx, db.read, digest, `SELECT digest FROM receipt ORDER BY digest`)
	if err != nil {
		return v, err
	}
	v.Receipts = len(digests)
	papers, err := rows(ctx, db.read, digest, `SELECT pdf_digest FROM paper UNION SELECT html_digest FROM paper UNION SELECT digest FROM release WHERE digest <> '' ORDER BY 1`)
	if err != nil {
		return v, err
	}
	digests = append(digests, papers...)
	if err := db.verifyObjects(ctx, &v, digests); err != nil {
		return v, err
	}
	head, err := audit.Verify(db.AuditRecords(ctx), anchor)
	if err != nil && !errors.Is(err, audit.ErrBroken) {
		return v, err
	}
	v.Chain, v.AuditRecords = err, int(head.Sequence)
	if v.Database, err = db.integrity(ctx); err != nil {
		return v, err
	}
	v.Summaries, err = summaryDifferences(ctx, db.read)
	return v, err
}

func (db *DB) verifyObjects(ctx context.Context, v *Verification, digests []string) error {
	there := make(map[string]bool, len(digests))
	for _, d := range digests {
		there[d] = false
	}
	err := db.kept.Digests(func(digest string) error {
		v.Objects++
		if _, err := db.kept.Read(digest); err != nil {
			v.Corrupt = append(v.Corrupt, digest)
		}
		if _, named := there[digest]; named {
			there[digest] = true
			return ctx.Err()
		}
		// It may have come since the receipts were read.
		named, err := db.named(ctx, digest)
		if err == nil && !named {
			v.Orphans = append(v.Orphans, digest)
		}
		return errors.Join(err, ctx.Err())
	})
	if err != nil {
		return fmt.Errorf("walk objects: %w", err)
	}
	for _, d := range digests {
		if !there[d] {
			v.Missing = append(v.Missing, d)
		}
	}
	return nil
}

// integrity gives "ok", or the first thing that the database's own checks find.
func (db *DB) integrity(ctx context.Context) (string, error) {
	var found string
	if err := db.read.QueryRowContext(ctx, `PRAGMA integrity_check(1)`).Scan(&found); err != nil {
		return "", kind(ended(ctx, err))
	}
	if found != "ok" {
		return found, nil
	}
	var dangling int
	if err := db.read.QueryRowContext(ctx, `SELECT COUNT(*) FROM pragma_foreign_key_check`).Scan(&dangling); err != nil {
		return "", kind(ended(ctx, err))
	}
	if dangling > 0 {
		return fmt.Sprintf("%d rows point to rows that are not there", dangling), nil
	}
	return found, nil
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
	return errors.Join(synced(out.Sync()), out.Close())
}

// syncFile makes the content of a file durable that something else wrote.
func syncFile(name string) error {
	file, err := os.Open(name)
	if err != nil {
		return err
	}
	return errors.Join(synced(file.Sync()), file.Close())
}

// syncFolder makes the names in a folder durable.
func syncFolder(dir string) error { return synced(object.Disk{}.SyncDir(dir)) }

// synced marks a failed fsync.
func synced(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%w: %w", object.ErrSync, err)
}
