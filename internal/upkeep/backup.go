package upkeep

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"afterbeam/internal/store"
	"afterbeam/internal/store/object"
)

// stamp is how the time of a backup stands in the name of its folder, so that names sort as times.
const stamp = "20060102T150405Z"

const (
	named    = "afterbeam-"
	unended  = ".part"
	damageOf = 5 // so many damaged things are named in a detail
)

// ErrUnsound tells that a check found loss or change.
var ErrUnsound = errors.New("not sound")

// Backups says where copies of a store are made and how many stay. An empty Dir is none.
type Backups struct {
	Dir    string
	Every  time.Duration
	Keep   int
	Verify bool
}

// Copy is one backup that was written to its end.
type Copy struct {
	Dir string
	At  time.Time
}

// List gives the backups, newest first. What was broken off is not among them.
func (b Backups) List() ([]Copy, error) {
	entries, err := os.ReadDir(b.Dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("look for backups: %w", err)
	}
	var all []Copy
	for _, e := range entries {
		at, err := time.Parse(stamp, strings.TrimPrefix(e.Name(), named))
		if err == nil && e.IsDir() && strings.HasPrefix(e.Name(), named) {
			all = append(all, Copy{filepath.Join(b.Dir, e.Name()), at})
		}
	}
	slices.SortFunc(all, func(x, y Copy) int { return y.At.Compare(x.At) })
	return all, nil
}

// Make copies the store, verifies the copy when that is wanted, and removes the oldest copies that are too many. What it came to
// is written down in the store and told in words.
func (b Backups) Make(ctx context.Context, db *store.DB, program string, now func() time.Time) (detail string, err error) {
	return recorded(ctx, db, store.BackupRun, func() (string, error) { return b.write(ctx, db, program, now()) })
}

func (b Backups) write(ctx context.Context, db *store.DB, program string, now time.Time) (string, error) {
	if err := b.clean(); err != nil {
		return "", err
	}
	if err := os.MkdirAll(b.Dir, 0o700); err != nil {
		return "", fmt.Errorf("make folder of backups: %w", err)
	}
	to := filepath.Join(b.Dir, named+now.UTC().Format(stamp))
	if _, err := os.Stat(to); err == nil {
		return "", fmt.Errorf("%w: %s, and nothing is ever overwritten", store.ErrNotEmpty, filepath.Base(to))
	}
	if err := db.Backup(ctx, to+unended); err != nil {
		// A disk of backups that does not sync says nothing about the disk of the store, so that the error loses its kind.
		return "", fmt.Errorf("copy store: %v", err) //nolint:errorlint // on purpose
	}
	checked := "not verified"
	if b.Verify {
		v, err := store.VerifyBackup(ctx, to+unended, program)
		if err != nil {
			return "", fmt.Errorf("verify backup: %v", err) //nolint:errorlint // as above
		}
		if checked = Told(v); !v.Sound() {
			return "", fmt.Errorf("%w: %s", ErrUnsound, checked)
		}
	}
	if err := os.Rename(to+unended, to); err != nil {
		return "", fmt.Errorf("name backup: %w", err)
	}
	if err := (object.Disk{}).SyncDir(b.Dir); err != nil {
		return "", fmt.Errorf("name backup: %w", err)
	}
	removed, err := b.prune()
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("%s: %s; %d older removed", filepath.Base(to), checked, removed), nil
}

// clean removes backups that were broken off.
func (b Backups) clean() error {
	left, err := filepath.Glob(filepath.Join(b.Dir, named+"*"+unended))
	if err != nil {
		return err
	}
	for _, dir := range left {
		if err := os.RemoveAll(dir); err != nil {
			return fmt.Errorf("remove a backup that was broken off: %w", err)
		}
	}
	return nil
}

// prune removes the oldest backups beyond those that stay.
func (b Backups) prune() (int, error) {
	all, err := b.List()
	if err != nil || len(all) <= b.Keep {
		return 0, err
	}
	old := all[b.Keep:]
	for _, one := range old {
		if err := os.RemoveAll(one.Dir); err != nil {
			return 0, fmt.Errorf("remove an old backup: %w", err)
		}
	}
	return len(old), nil
}

// Told says in words what a verification found.
func Told(v store.Verification) string {
	chain := "whole"
	if v.Chain != nil {
		chain = v.Chain.Error()
	}
	return fmt.Sprintf("%d receipts, %d objects, %d missing%s, %d corrupt%s, %d audit records, chain %s, database %s, %d rows of summaries differ",
		v.Receipts, v.Objects, len(v.Missing), some(v.Missing), len(v.Corrupt), some(v.Corrupt), v.AuditRecords, chain, v.Database, v.Summaries)
}

// some names the first of several things.
func some(all []string) string {
	if len(all) == 0 {
		return ""
	}
	first := strings.Join(all[:min(len(all), damageOf)], " ")
	if len(all) > damageOf {
		first += " ..."
	}
	return " (" + first + ")"
}

// recorded does one run and writes down what came of it.
func recorded(ctx context.Context, db *store.DB, kind store.Upkeep, do func() (string, error)) (string, error) {
	id, err := db.BeginRun(ctx, kind)
	if err != nil {
		return "", err
	}
	detail, failed := do()
	told := detail
	if failed != nil {
		told = failed.Error()
	}
	// Also when ctx ended the run: that it was broken off is worth a row.
	return detail, errors.Join(failed, db.EndRun(context.WithoutCancel(ctx), store.System(string(kind)), id, told, failed))
}
