package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"text/tabwriter"
	"time"

	"afterbeam/internal/followup/completeness"
	"afterbeam/internal/ingest/roll"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/procedure/performed"
	"afterbeam/internal/settings"
	"afterbeam/internal/store"
)

type performedCommand struct {
	Import  performedImportCommand  `cmd:"" help:"Import a table of performed procedures (CSV)."`
	Columns performedColumnsCommand `cmd:"" help:"List the columns that a table may have."`
}

type performedImportCommand struct {
	File     string `arg:"" type:"existingfile" help:"Table of performed procedures (CSV); afterbeam performed columns lists what it may hold."`
	Encoding string `default:"utf-8" placeholder:"NAME" help:"Encoding of the file, utf-8 or iso-8859-1 (default utf-8)."`
	configOption
}

// Run stores the good lines of a table and tells the bad ones; the service may run meanwhile.
func (p *performedImportCommand) Run(c console) (err error) {
	s, err := p.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	encoding, err := performed.EncodingOf(p.Encoding)
	if err != nil {
		return fmt.Errorf("%w: --encoding: %w", errUsage, err)
	}
	zone, err := time.LoadLocation(s.Zone)
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	file, err := os.Open(p.File)
	if err != nil {
		return cannotRead(err)
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		r, err := roll.Import(ctx, db, store.System("command line"), file, performed.Options{Encoding: encoding, Site: zone, KnownClass: lexicon.Known})
		if err != nil {
			return fmt.Errorf("%s: %w", p.File, err)
		}
		for _, problem := range r.Problems {
			if _, err := fmt.Fprintf(c.err, "%s: %s\n", p.File, problem); err != nil {
				return err
			}
		}
		if len(r.Ignored) > 0 {
			if _, err := fmt.Fprintf(c.err, "%s: columns %s are not known and were passed over\n", p.File, strings.Trim(fmt.Sprint(r.Ignored), "[]")); err != nil {
				return err
			}
		}
		_, err = fmt.Fprintf(c.out, "added %d, changed %d, the same %d, left out %d\n", r.Added, r.Changed, r.Same, r.Refused)
		if err == nil && r.Refused > 0 {
			err = errPartial
		}
		return err
	})
}

type performedColumnsCommand struct{}

// Run lists the columns.
func (performedColumnsCommand) Run(c console) error {
	w := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
	if _, err := fmt.Fprintln(w, "column\ttells\texpected"); err != nil {
		return err
	}
	for _, one := range performed.Columns() {
		if _, err := fmt.Fprintf(w, "%s\t%s\t%s\n", one.Name, one.Meaning, one.Form); err != nil {
			return err
		}
	}
	return w.Flush()
}

type missingCommand struct {
	From string `required:"" placeholder:"DAY" help:"First local day, such as 2026-09-01."`
	To   string `required:"" placeholder:"DAY" help:"Last local day."`
	Room string `placeholder:"NAME" help:"One room alone."`
	configOption
}

// Run lists the performed procedures of a period whose dose reports are missing or filed under another study, and the
// reports of which no performed procedure is known. It names no patient.
func (m *missingCommand) Run(c console) error {
	s, err := m.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	for _, day := range []string{m.From, m.To} {
		if _, err := time.Parse(time.DateOnly, day); err != nil {
			return fmt.Errorf("%w: --from and --to want days such as 2026-09-14, got %q", errUsage, day)
		}
	}
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		list, roomOf, err := db.Completeness(ctx, m.From, m.To, completenessRules(s))
		if err != nil {
			return err
		}
		return printMissing(c, list.Within(completeness.Scope{From: m.From, To: m.To, Room: m.Room}, roomOf))
	})
}

func completenessRules(s settings.Settings) completeness.Rules {
	return completeness.Rules{
		Window: time.Duration(s.Performed.WindowMinutes) * time.Minute, Grace: time.Duration(s.Performed.GraceHours) * time.Hour, Now: time.Now(),
	}
}

func printMissing(c console, l completeness.List) error {
	n := l.Counts()
	p := printer{w: c.out}
	p.say("performed %d: reported %d, missing %d, filed under another study %d, within grace %d, excluded %d; reports without a performed procedure %d",
		n.Performed, n.Reported, n.Missing, n.Elsewhere, n.Pending, n.Excluded, n.Unannounced)
	for _, row := range l.Rows {
		if row.Outcome != completeness.Missing && row.Outcome != completeness.Elsewhere {
			continue
		}
		first := row.Steps[0]
		p.say("\n%s  %s  %s  order %s  study %s", row.Outcome, first.Start.Time.Format("2006-01-02 15:04"), given(first.Room), given(first.Accession), given(first.StudyUID))
		for _, why := range row.Why {
			if why.Case == "" {
				p.say("  %s", why.Reason)
				continue
			}
			p.say("  procedure %s: %s", why.Case, why.Reason)
		}
	}
	for _, one := range l.Unannounced {
		p.say("\nno performed procedure  %s  %s  order %s  study %s\n  procedure %s", one.Start.Format("2006-01-02 15:04"), given(one.Room), given(one.Accession), given(one.StudyUID), one.ID)
	}
	return p.err
}

func given(s string) string {
	if s == "" {
		return "-"
	}
	return s
}
