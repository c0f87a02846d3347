package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"text/tabwriter"
	"time"

	"afterbeam/internal/export/paperpdf"
	"afterbeam/internal/followup/paper"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/store"
)

// paperCommand makes, lists and writes papers from the store. Papers are named by their ids, never by patients.
type paperCommand struct {
	Make  paperMakeCommand  `cmd:"" help:"Make a paper of a case and keep it."`
	List  paperListCommand  `cmd:"" help:"List the papers that were made of a case."`
	Write paperWriteCommand `cmd:"" help:"Write a kept paper to a file: the same bytes each time."`
}

type paperMakeCommand struct {
	Case      string   `arg:"" help:"Id of the case, as afterbeam asks lists it."`
	Kind      string   `arg:"" enum:"patient-sheet,doctor-letter,physicist-report" help:"patient-sheet, doctor-letter or physicist-report."`
	Language  string   `placeholder:"TAG" help:"en or de; that of the settings by default."`
	Size      string   `placeholder:"SIZE" help:"a4 or letter; that of the settings by default."`
	Recipient []string `placeholder:"LINE" sep:"none" help:"A line of the address of a letter; give it up to six times."`
	configOption
}

// Run makes the paper and prints its id.
func (m *paperMakeCommand) Run(c console) error {
	s, err := m.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	method, err := siteMethod(s)
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	reading, err := zoneOption{s.Zone}.reading()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		p, err := newPapers(s.Site, reading.Site, sums{method, db}, db)
		if err != nil {
			return err
		}
		made, err := p.Make(ctx, atConsole, m.Case, httpapi.PaperAsk{Kind: m.Kind, Language: m.Language, Size: m.Size, Recipient: m.Recipient, By: atConsole.Account})
		if errors.Is(err, paper.ErrRefused) || errors.Is(err, paperpdf.ErrSize) {
			return fmt.Errorf("%w: %w", errUsage, err)
		}
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(c.out, "%s\n", made.ID)
		return err
	})
}

type paperListCommand struct {
	Case string `arg:"" help:"Id of the case."`
	configOption
}

// Run lists the papers of a case, newest first.
func (l *paperListCommand) Run(c console) error {
	return withPapers(l.configOption, "papers.list", l.Case, l.Case, func(ctx context.Context, db *store.DB) error {
		all, err := db.Papers(ctx, l.Case)
		if err != nil {
			return err
		}
		table := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
		if _, err := fmt.Fprintln(table, "PAPER\tMADE\tKIND\tLANGUAGE\tSIZE\tESTIMATE\tSHA-256 OF THE PDF"); err != nil {
			return err
		}
		for _, p := range all {
			if _, err := fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%s\t%d\t%s\n", p.ID, p.MadeAt.Format(time.RFC3339), p.Kind, p.Language, p.Size, p.Version, p.PDF); err != nil {
				return err
			}
		}
		return table.Flush()
	})
}

type paperWriteCommand struct {
	Case  string `arg:"" help:"Id of the case."`
	Paper string `arg:"" help:"Id of the paper."`
	To    string `placeholder:"DIR" default:"." help:"Folder to write to; the file is named by kind and id."`
	HTML  bool   `name:"html" help:"The HTML instead of the PDF."`
	configOption
}

// Run writes a kept paper. A file that is there is left as it is.
func (w *paperWriteCommand) Run(c console) error {
	return withPapers(w.configOption, "paper.view", w.Paper, w.Case, func(ctx context.Context, db *store.DB) error {
		p, err := db.Paper(ctx, w.Case, w.Paper)
		if err != nil {
			return err
		}
		digest, ending := p.PDF, ".pdf"
		if w.HTML {
			digest, ending = p.HTML, ".html"
		}
		raw, err := db.Raw(digest)
		if err != nil {
			return err
		}
		name := filepath.Join(w.To, p.Kind+"-"+p.ID+ending)
		file, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if err != nil {
			return fmt.Errorf("write paper: %w", err)
		}
		if _, err := file.Write(raw); err != nil {
			return errors.Join(fmt.Errorf("write paper: %w", err), file.Close())
		}
		if err := file.Close(); err != nil {
			return fmt.Errorf("write paper: %w", err)
		}
		_, err = fmt.Fprintln(c.out, name)
		return err
	})
}

// withPapers opens the store and records the view of a case's papers before it is shown.
func withPapers(o configOption, action, object, caseID string, do func(context.Context, *store.DB) error) error {
	s, err := o.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		of, err := db.Case(ctx, caseID)
		if err != nil {
			return err
		}
		if err := db.Viewed(ctx, atConsole, action, object, of.PatientID); err != nil {
			return err
		}
		return do(ctx, db)
	})
}
