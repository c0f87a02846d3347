package main

import (
	"context"
	"fmt"
	"io"
	"strconv"

	"afterbeam/internal/audit"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/ingest/naming"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/store"
)

type lexiconCommand struct {
	List     lexiconListCommand     `cmd:"" help:"List the versions of the site's lexicon, or print its rows in force."`
	Unmapped lexiconUnmappedCommand `cmd:"" help:"List the names of procedures that the lexicon does not know, the most frequent of the last 12 months first; names no patient."`
	Preview  lexiconPreviewCommand  `cmd:"" help:"Say which procedures other rows of the site would class otherwise; changes nothing."`
	Publish  lexiconPublishCommand  `cmd:"" help:"Put rows of the site in force; the procedures that they class otherwise are estimated anew by the service."`
}

// lexiconOption opens the store with the table that a site's lexicon stands over.
type lexiconOption struct{ configOption }

func (o lexiconOption) with(do func(ctx context.Context, db *store.DB, shipped *lexicon.Lexicon, levels level.Set) error) error {
	s, err := o.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	method, err := siteMethod(s)
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		levels := method.Levels
		if approved, is, err := db.LevelsInForce(ctx); err != nil {
			return err
		} else if is {
			levels = approved
		}
		return do(ctx, db, method.Lexicon, levels)
	})
}

// rowsOf reads a file of rows.
func rowsOf(name string) (rows []lexicon.Row, err error) {
	err = load("lexicon", name, func(r io.Reader) (err error) { rows, err = lexicon.ReadRows(r); return err })
	if err == nil {
		_, err = lexicon.Default().Over(rows)
	}
	if err != nil {
		err = fmt.Errorf("%w: %w", errUsage, err)
	}
	return rows, err
}

type lexiconListCommand struct {
	CSV bool `help:"Print the rows in force as CSV, for a file to change and publish."`
	lexiconOption
}

// Run prints the versions, or the rows in force.
func (l *lexiconListCommand) Run(c console) error {
	return l.with(func(ctx context.Context, db *store.DB, shipped *lexicon.Lexicon, _ level.Set) error {
		if l.CSV {
			_, rows, err := db.LexiconInForce(ctx)
			if err != nil {
				return err
			}
			return lexicon.WriteRows(c.out, rows)
		}
		versions, err := db.LexiconVersions(ctx)
		if err != nil {
			return err
		}
		t, inForce := table(c.out, "version", "state", "rows", "drafted", "decided", "reason"), false
		for _, v := range versions {
			inForce = inForce || v.State == store.LexiconInForce
			decided := ""
			if !v.DecidedAt.IsZero() {
				decided = v.DecidedAt.Format("2006-01-02") + " " + v.DecidedReason
			}
			t.row(strconv.Itoa(v.Version), string(v.State), strconv.Itoa(len(v.Rows)), v.MadeAt.Format("2006-01-02"), decided, v.Reason)
		}
		state := "stands below"
		if !inForce {
			state = "in force"
		}
		t.row("0", state, strconv.Itoa(len(shipped.Rows())), "", "", "the table of the settings")
		return t.end()
	})
}

type lexiconUnmappedCommand struct {
	Limit int `default:"50" placeholder:"N" help:"Names to list (default 50)."`
	lexiconOption
}

// Run lists the names that no row tells.
func (u *lexiconUnmappedCommand) Run(c console) error {
	if u.Limit < 1 {
		return fmt.Errorf("%w: --limit wants 1 or more, got %d", errUsage, u.Limit)
	}
	return u.with(func(ctx context.Context, db *store.DB, shipped *lexicon.Lexicon, _ level.Set) error {
		l, err := naming.Unmapped(ctx, db, shipped)
		if err != nil {
			return err
		}
		if _, err := fmt.Fprintf(c.out, "procedures that no name tells the class of: %d, %d of them from %s to %s; %d classed by a person, %d without any name; %d not read yet\n",
			l.Procedures, l.Recent, l.From, l.To, l.Given, l.Nameless, l.Unread); err != nil {
			return err
		}
		t := table(c.out, "kind", "name", "meaning", "last 12 months", "all", "last day")
		for _, n := range l.Names[:min(u.Limit, len(l.Names))] {
			t.row(string(n.Kind), n.Match, n.Title, strconv.Itoa(n.Recent), strconv.Itoa(n.Procedures), n.LastDay)
		}
		return t.end()
	})
}

type lexiconPreviewCommand struct {
	File string `arg:"" type:"existingfile" help:"All rows of the site (CSV: kind,match,class,complexity), as lexicon list --csv prints those in force."`
	lexiconOption
}

// Run prints what a file of rows would move.
func (p *lexiconPreviewCommand) Run(c console) error {
	rows, err := rowsOf(p.File)
	if err != nil {
		return err
	}
	return p.with(func(ctx context.Context, db *store.DB, shipped *lexicon.Lexicon, levels level.Set) error {
		l, err := naming.Look(ctx, db, shipped, levels, rows)
		if err != nil {
			return err
		}
		if err := db.Note(ctx, atConsole, audit.Record{Action: "lexicon.preview", Object: fmt.Sprintf("%d rows", len(rows))}); err != nil {
			return err
		}
		return printLook(c.out, l)
	})
}

func printLook(w io.Writer, l naming.Looked) error {
	if _, err := fmt.Fprintf(w, "%d of %s move; %d keep the class that a person said, %d are not read yet\n", len(l.Moved), count(l.Procedures, "procedure"), l.Given, l.Unread); err != nil {
		return err
	}
	t := table(w, "from", "to", "last 12 months", "all")
	for _, m := range l.Moves {
		t.row(kindWords(m.From), kindWords(m.To), strconv.Itoa(m.Recent), strconv.Itoa(m.Procedures))
	}
	if err := t.end(); err != nil {
		return err
	}
	if !l.ByClass {
		_, err := fmt.Fprintln(w, "no level in force is for some classes alone: none is decided by the class")
		return err
	}
	if _, err := fmt.Fprintf(w, "%d would be flagged otherwise by a level that is for some classes alone\n", len(l.Flags)); err != nil {
		return err
	}
	t = table(w, "procedure", "now", "then")
	for _, d := range l.Flags {
		t.row(d.ID, d.Before.String(), d.After.String())
	}
	return t.end()
}

func kindWords(k naming.Kind) string {
	if k.Complexity == "" {
		return k.Class
	}
	return k.Class + ", " + k.Complexity
}

type lexiconPublishCommand struct {
	File   string `arg:"" type:"existingfile" help:"All rows of the site (CSV), as for preview."`
	Base   int    `default:"-1" placeholder:"VERSION" help:"The version that the file began with; the one in force when left out. Another one in force is refused."`
	Reason string `required:"" placeholder:"TEXT" help:"Why; it stands with the version and in the audit record."`
	lexiconOption
}

// Run puts a file of rows in force.
func (p *lexiconPublishCommand) Run(c console) error {
	rows, err := rowsOf(p.File)
	if err != nil {
		return err
	}
	return p.with(func(ctx context.Context, db *store.DB, shipped *lexicon.Lexicon, _ level.Set) error {
		base := p.Base
		if base < 0 {
			var err error
			if base, _, err = db.LexiconInForce(ctx); err != nil {
				return err
			}
		}
		draft, err := db.DraftLexicon(ctx, atConsole, base, rows, p.Reason)
		if err != nil {
			return err
		}
		l, asked, err := db.PublishLexicon(ctx, atConsole, draft.ID, p.Reason, shipped)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(c.out, "version %d in force; %s estimated anew by the running service, or at its next start\n", l.Version, studies(asked.Studies))
		return err
	})
}

func studies(n int) string {
	if n == 1 {
		return "1 study is"
	}
	return fmt.Sprintf("%d studies are", n)
}
