package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/settings"
	"afterbeam/internal/store"
)

// withStore opens the store of the settings for one sub-command.
func withStore(s settings.Settings, do func(ctx context.Context, db *store.DB) error) error {
	ctx := context.Background()
	zone, err := time.LoadLocation(s.Zone)
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	db, err := store.Open(ctx, store.Config{Dir: s.Store.Dir, Program: programVersion(), Beside: true, Site: zone})
	if err != nil {
		return fmt.Errorf("cannot open store %q: %w", s.Store.Dir, err)
	}
	return errors.Join(do(ctx, db), db.Close())
}

type backupCommand struct {
	To string `arg:"" name:"folder" help:"New or empty folder for the copy."`
	configOption
}

// Run copies the store; the service may run meanwhile.
func (b *backupCommand) Run(c console) error {
	s, err := b.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		if err := db.Backup(ctx, b.To); err != nil {
			return err
		}
		_, err := fmt.Fprintf(c.out, "copied to %s; check it with: afterbeam restore %s NEW_FOLDER\n", b.To, b.To)
		return err
	})
}

type restoreCommand struct {
	From string `arg:"" name:"backup" type:"existingdir" help:"Folder of the backup."`
	To   string `arg:"" name:"folder" help:"New or empty folder for the store."`
}

// Run puts a backup into a new folder and verifies it there.
func (r *restoreCommand) Run(c console) error {
	v, err := store.Restore(context.Background(), r.From, r.To, programVersion())
	if err != nil {
		return err
	}
	return printVerification(c.out, v)
}

type verifyCommand struct {
	Anchor string `placeholder:"FILE" help:"Anchor of the audit chain, such as a copy kept elsewhere; the store's own by default."`
	configOption
}

// Run checks every digest, the audit chain against its anchor, and the database.
func (v *verifyCommand) Run(c console) error {
	s, err := v.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		anchor, err := db.ReadAnchor(v.Anchor)
		if err != nil {
			return err
		}
		found, err := db.Verify(ctx, anchor)
		if err != nil {
			return err
		}
		return printVerification(c.out, found)
	})
}

// errUnsound tells that a check has found loss or change; what it is stands on standard output.
var errUnsound = errors.New("the store is not sound")

func printVerification(w io.Writer, v store.Verification) error {
	chain := "whole"
	if v.Chain != nil {
		chain = v.Chain.Error()
	}
	summaries := "agree with the cases"
	if v.Summaries > 0 {
		summaries = fmt.Sprintf("%d rows differ from their cases: afterbeam redo summaries makes them anew", v.Summaries)
	}
	_, err := fmt.Fprintf(w, "receipts       %d\nobjects        %d\nmissing        %v\ncorrupt        %v\norphans        %v (harmless: bytes of a delivery that was never acknowledged)\naudit records  %d, chain %s\ndatabase       %s\nsummaries      %s\n",
		v.Receipts, v.Objects, v.Missing, v.Corrupt, v.Orphans, v.AuditRecords, chain, v.Database, summaries)
	if err == nil && !v.Sound() {
		err = errUnsound
	}
	return err
}

type auditCommand struct {
	Verify auditVerifyCommand `cmd:"" help:"Check the audit chain against its anchor."`
}

type auditVerifyCommand struct {
	Anchor string `placeholder:"FILE" help:"Anchor file, such as a copy kept elsewhere; the store's own by default."`
	configOption
}

// Run walks the audit chain and names the first bad record.
func (a *auditVerifyCommand) Run(c console) error {
	s, err := a.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		anchor, err := db.ReadAnchor(a.Anchor)
		if err != nil {
			return err
		}
		head, err := audit.Verify(db.AuditRecords(ctx), anchor)
		if err != nil {
			return err
		}
		anchored := "no anchor yet"
		if anchor != nil {
			anchored = fmt.Sprintf("anchored at record %d", anchor.Sequence)
		}
		_, err = fmt.Fprintf(c.out, "audit chain whole: %d records, %s, head %s\n", head.Sequence, anchored, head.Hash)
		return err
	})
}
