package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/export/monthfile"
	months "afterbeam/internal/export/monthly"
	"afterbeam/internal/export/paperpdf"
	"afterbeam/internal/store"
	"afterbeam/internal/summary"
)

// summaryCommand writes the summary of a period. Operators stand under their pseudonyms.
type summaryCommand struct {
	Period   string `arg:"" help:"A month, quarter, year or years: 2026-10, 2026-Q4, 2026, 2017--2026."`
	Format   string `enum:"json,pdf,xlsx,csv,spreadsheet" default:"json" help:"json; pdf, the pack for a committee; xlsx, csv (for machines) or spreadsheet (CSV), a number a row."`
	Language string `enum:"en,de" default:"en" help:"en or de; decides separator and decimal sign of spreadsheet."`
	Size     string `enum:"a4,letter" default:"a4" help:"Pages of pdf: a4 or letter."`
	Class    string `placeholder:"CLASS" help:"Only cases of this class."`
	Room     string `placeholder:"ROOM" help:"Only cases of this room."`
	Device   string `placeholder:"KEY" help:"Only cases of the device of this key."`
	Leaving  bool   `help:"The form for readers outside of the department: no lists of cases, no groups of fewer than 5."`
	Out      string `short:"o" type:"path" placeholder:"FILE" help:"A new file to write to; standard output by default."`
	configOption
}

// Run writes the summary.
func (m *summaryCommand) Run(c console) error {
	s, err := m.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	period, err := summary.ParsePeriod(m.Period)
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	zone, err := time.LoadLocation(s.Zone)
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	rules := completenessRules(s)
	rules.Now = time.Now()
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		made, err := months.Make(ctx, db, months.Ask{
			Period: period, Filter: summary.Filter{Class: m.Class, Room: m.Room, Device: m.Device}, Settings: summary.DefaultSettings(), Rules: rules,
		})
		if err != nil {
			return err
		}
		if m.Leaving {
			made = summary.Leaving(made)
		}
		if err := db.Note(ctx, atConsole, audit.Record{Action: "summary.view", Object: fmt.Sprintf("%s, %d cases", period.Name, made.Counts.Cases)}); err != nil {
			return err
		}
		return m.write(c.out, made, monthfile.Made{
			At: time.Now(), Zone: zone, Program: programVersion(), Centre: s.Site.Centre, Department: s.Site.Department, Language: m.Language, Size: paperpdf.Size(m.Size),
		})
	})
}

// write writes to standard output or to a file that there is none of yet.
func (m *summaryCommand) write(out io.Writer, made summary.Summary, by monthfile.Made) error {
	form := monthfile.Form(m.Format)
	if m.Out == "" {
		b := bufio.NewWriter(out)
		return errors.Join(monthfile.Write(b, form, made, by), b.Flush())
	}
	return writeMonth(m.Out, form, made, by)
}

// writeMonth writes a summary to a file that there is none of yet.
func writeMonth(name string, form monthfile.Form, made summary.Summary, by monthfile.Made) error {
	const ownerAlone = 0o600
	file, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, ownerAlone)
	if err != nil {
		return fmt.Errorf("cannot write summary: %w", err)
	}
	b := bufio.NewWriter(file)
	if err := errors.Join(monthfile.Write(b, form, made, by), b.Flush(), file.Close()); err != nil {
		return errors.Join(fmt.Errorf("cannot write summary to %q: %w", name, err), os.Remove(name))
	}
	return nil
}

// noticeOf is what stands with numbers of the demonstration.
func noticeOf(synthetic bool) string {
	if synthetic {
		return "All data are synthetic: an invented centre, invented patients, invented doses."
	}
	return ""
}
