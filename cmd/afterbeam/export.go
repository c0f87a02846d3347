package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/export/listing"
	rows "afterbeam/internal/export/table"
	"afterbeam/internal/store"
)

type exportCommand struct {
	Procedures exportProceduresCommand `cmd:"" help:"Write procedures as a table, one a row, at constant memory."`
	Events     exportEventsCommand     `cmd:"" help:"Write the irradiation events of procedures as a table, one a row, at constant memory."`
}

// exportOptions are those of both tables.
type exportOptions struct {
	From       string `placeholder:"DAY" help:"First local day, such as 2026-10-01; from the beginning without it."`
	To         string `placeholder:"DAY" help:"Last local day; to the end without it."`
	Room       string `placeholder:"NAME" help:"Only procedures of this room."`
	Class      string `placeholder:"CLASS" help:"Only procedures of this class."`
	Device     string `placeholder:"KEY" help:"Only procedures of this device."`
	Identified bool   `help:"With names, numbers and birth dates of patients, accession numbers and UIDs; wants --reason."`
	Reason     string `placeholder:"TEXT" help:"What the table is for; it goes into the audit record and names no patient."`
	Out        string `required:"" placeholder:"FILE" help:"File to write; it must not be there. FILE.sha256 beside it holds the digest, as sha256sum -c reads it."`
	configOption
}

// lastDay is behind every day of a procedure.
const lastDay = "9999-12-31"

func (o exportOptions) ask() (listing.Ask, error) {
	ask := listing.Ask{
		Filter:     store.SummaryFilter{From: o.From, To: lastDay, Room: o.Room, Class: o.Class, Device: o.Device},
		Identified: o.Identified, Format: rows.Machine, Program: programVersion(), Made: time.Now(),
	}
	for _, day := range []string{o.From, o.To} {
		if _, err := time.Parse(time.DateOnly, day); day != "" && err != nil {
			return ask, fmt.Errorf("%w: day %q is not in the calendar; wanted is one like 2026-09-14", errUsage, day)
		}
	}
	if o.To != "" {
		ask.Filter.To = o.To
	}
	if o.Identified && strings.TrimSpace(o.Reason) == "" {
		return ask, fmt.Errorf("%w: --identified wants --reason", errUsage)
	}
	return ask, nil
}

// write writes a table to the file, and its digest beside it. What is begun is in the audit record before anything is read.
func (o exportOptions) write(c console, name string, write func(context.Context, io.Writer, *store.DB, listing.Ask) (rows.Digest, error)) error {
	s, err := o.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	ask, err := o.ask()
	if err != nil {
		return err
	}
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		record := audit.Record{Action: "table.export", Object: name + " without identifiers", Reason: o.Reason, Outcome: "begun"}
		if o.Identified {
			record.Object = name + " with identifiers"
		}
		if err := db.Note(ctx, atConsole, record); err != nil {
			return err
		}
		digest, err := toNewFile(o.Out, func(w io.Writer) (rows.Digest, error) { return write(ctx, w, db, ask) })
		record.Outcome, record.After = "", fmt.Sprintf("%d rows, sha256 %s", digest.Rows, digest.SHA256)
		if err != nil {
			record.Outcome = "broken off"
		}
		if err := errors.Join(err, db.Note(ctx, atConsole, record)); err != nil {
			return err
		}
		if err := os.WriteFile(o.Out+".sha256", []byte(digest.SHA256+"  "+filepath.Base(o.Out)+"\n"), 0o600); err != nil {
			return err
		}
		_, err = fmt.Fprintf(c.out, "%s: %d rows, sha256 %s\n", o.Out, digest.Rows, digest.SHA256)
		return err
	})
}

// toNewFile writes a file that its owner alone reads. One that is not whole is removed.
func toNewFile(name string, write func(io.Writer) (rows.Digest, error)) (digest rows.Digest, err error) {
	file, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return digest, err
	}
	buffered := bufio.NewWriterSize(file, 1<<20)
	digest, err = write(buffered)
	if err == nil {
		err = errors.Join(buffered.Flush(), file.Sync())
	}
	if err = errors.Join(err, file.Close()); err != nil {
		err = errors.Join(err, os.Remove(name))
	}
	return digest, err
}

type exportProceduresCommand struct{ exportOptions }

// Run writes the procedures.
func (e *exportProceduresCommand) Run(c console) error {
	return e.write(c, "procedures", func(ctx context.Context, w io.Writer, db *store.DB, ask listing.Ask) (rows.Digest, error) {
		return listing.Procedures(ctx, w, db, ask)
	})
}

type exportEventsCommand struct{ exportOptions }

// Run writes the irradiation events.
func (e *exportEventsCommand) Run(c console) error {
	return e.write(c, "events", func(ctx context.Context, w io.Writer, db *store.DB, ask listing.Ask) (rows.Digest, error) {
		return listing.Events(ctx, w, db, eventsOf, ask)
	})
}
