package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"text/tabwriter"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/audit"
	"afterbeam/internal/export/release"
	"afterbeam/internal/store"
)

// releaseCommand asks for, approves, makes and lists what leaves the department. Whoever asks, approves or makes says who it is by a
// token of the service, so that two persons are two accounts.
type releaseCommand struct {
	Ask     releaseAskCommand     `cmd:"" help:"Ask for a release of reports and tables without persons, places and days; another person approves it."`
	Approve releaseApproveCommand `cmd:"" help:"Approve a release that another person asked for."`
	Make    releaseMakeCommand    `cmd:"" help:"Make an approved release and write it to a file."`
	List    releaseListCommand    `cmd:"" help:"List what was asked for, what left, to whom, when and by whom."`
}

// personOption says who acts.
type personOption struct {
	TokenFile string `required:"" placeholder:"FILE" help:"File with the token of the person who does it; - is standard input."`
	configOption
}

const longestToken = 4096

// as opens the store for the person of the token, if its account may do the operation.
func (o personOption) as(c console, op access.Operation, do func(ctx context.Context, db *store.DB, actor store.Actor) error) error {
	s, err := o.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	from := c.in
	if o.TokenFile != "-" {
		file, err := os.Open(o.TokenFile)
		if err != nil {
			return fmt.Errorf("%w: read token: %w", errUsage, err)
		}
		defer func() { _ = file.Close() }() // it was only read
		from = file
	}
	token, err := io.ReadAll(io.LimitReader(from, longestToken))
	if err != nil {
		return fmt.Errorf("read token: %w", err)
	}
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		grant, err := access.Check(ctx, db, string(bytes.TrimSpace(token)), time.Now())
		if err != nil {
			return err
		}
		if err := grant.May(op); err != nil {
			return err
		}
		return do(ctx, db, grant.Actor("console"))
	})
}

type releaseAskCommand struct {
	Recipient       string   `required:"" placeholder:"NAME" help:"To whom it goes; one recipient has one key for its pseudonyms."`
	Purpose         string   `required:"" placeholder:"TEXT" help:"What it is for."`
	From            string   `placeholder:"DAY" help:"First local day, 2026-10-01."`
	To              string   `placeholder:"DAY" help:"Last local day."`
	Room            string   `placeholder:"NAME" help:"This room alone."`
	Class           string   `placeholder:"CLASS" help:"This procedure class alone."`
	Contents        []string `enum:"reports,tables" default:"reports,tables" help:"reports, tables or both (default both)."`
	Device          string   `enum:"pseudonym,make,identity" default:"pseudonym" help:"What stays of a device: a pseudonym, also its make, also its number and name."`
	Persons         string   `enum:"dropped,pseudonym" default:"dropped" help:"What becomes of those who took part."`
	Characteristics bool     `help:"Keep sex, age (90 for 90 and more), height, weight and pregnancy."`
	BoundSizes      bool     `help:"Give heights and weights far from most people's the bound."`
	personOption
}

// Run keeps the request and prints its id.
func (a *releaseAskCommand) Run(c console) error {
	for _, day := range []string{a.From, a.To} {
		if _, err := time.Parse(time.DateOnly, day); day != "" && err != nil {
			return fmt.Errorf("%w: a day wants the form 2026-10-01", errUsage)
		}
	}
	return a.as(c, "askRelease", func(ctx context.Context, db *store.DB, actor store.Actor) error {
		key, err := release.NewKey(rand.Reader)
		if err != nil {
			return err
		}
		r, err := db.AskRelease(ctx, actor, store.ReleaseWanted{
			Recipient: a.Recipient, Purpose: a.Purpose, From: a.From, To: a.To, Room: a.Room, Class: a.Class,
			Reports: slices.Contains(a.Contents, "reports"), Tables: slices.Contains(a.Contents, "tables"),
			Device: a.Device, Persons: a.Persons, Characteristics: a.Characteristics, BoundSizes: a.BoundSizes,
		}, key)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintln(c.out, r.ID)
		return err
	})
}

type releaseApproveCommand struct {
	Release string `arg:"" help:"Id of the release."`
	Reason  string `required:"" placeholder:"TEXT" help:"Why it may leave."`
	personOption
}

// Run approves a release.
func (a *releaseApproveCommand) Run(c console) error {
	return a.as(c, "approveRelease", func(ctx context.Context, db *store.DB, actor store.Actor) error {
		r, err := db.ApproveRelease(ctx, actor, a.Release, a.Reason)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(c.out, "%s is approved\n", r.ID)
		return err
	})
}

type releaseMakeCommand struct {
	Release string `arg:"" help:"Id of the release."`
	To      string `placeholder:"DIR" default:"." help:"Folder to write to; the file is named by the id."`
	personOption
}

// Run makes a release, or takes one that was made, and writes the file. A file that is there is left as it is.
func (m *releaseMakeCommand) Run(c console) error {
	return m.as(c, "makeRelease", func(ctx context.Context, db *store.DB, actor store.Actor) error {
		r, err := db.ReleaseRecord(ctx, m.Release)
		if err != nil {
			return err
		}
		if r.State != store.ReleaseMade {
			if r, err = (releases{db}).Make(ctx, actor, m.Release); err != nil {
				return err
			}
		}
		if r.Revoked {
			return fmt.Errorf("%w: the recipient's key was revoked: the file is not handed out any more", store.ErrConflict)
		}
		raw, err := db.Raw(r.Digest)
		if err != nil {
			return err
		}
		if err := db.Viewed(ctx, actor, "release.take", r.ID, ""); err != nil {
			return err
		}
		name := filepath.Join(m.To, "release-"+r.ID+".zip")
		if err := writeNew(name, raw); err != nil {
			return fmt.Errorf("write release: %w", err)
		}
		_, err = fmt.Fprintf(c.out, "%s: %d procedures of %d patients, %d reports, sha256 %s\n", name, r.Procedures, r.Patients, r.Reports, r.Digest)
		return err
	})
}

type releaseListCommand struct{ configOption }

// Run lists the releases, the newest request first, with the accounts of those who asked, decided and made.
func (l *releaseListCommand) Run(c console) error {
	s, err := l.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		all, err := db.Releases(ctx)
		if err != nil {
			return err
		}
		if err := db.Note(ctx, atConsole, audit.Record{Action: "releases.list", Object: fmt.Sprintf("%d releases", len(all))}); err != nil {
			return err
		}
		table := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
		if _, err := fmt.Fprintln(table, "RELEASE\tSTATE\tRECIPIENT\tPURPOSE\tASKED\tBY\tDECIDED BY\tMADE\tBY\tPROCEDURES\tPATIENTS\tREPORTS\tSHA-256"); err != nil {
			return err
		}
		for _, r := range all {
			made := "-"
			if !r.MadeAt.IsZero() {
				made = r.MadeAt.Format(time.RFC3339)
			}
			state := string(r.State)
			if r.Revoked {
				state += ", key revoked"
			}
			if _, err := fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%d\t%d\t%d\t%s\n", r.ID, state, plain(r.Wanted.Recipient), plain(r.Wanted.Purpose),
				r.AskedAt.Format(time.RFC3339), r.AskedBy, orWord(r.DecidedBy, "-"), made, orWord(r.MadeBy, "-"), r.Procedures, r.Patients, r.Reports, orWord(r.Digest, "-")); err != nil {
				return err
			}
		}
		return table.Flush()
	})
}
