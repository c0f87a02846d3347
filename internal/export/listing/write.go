package listing

import (
	"context"
	"fmt"
	"io"
	"iter"
	"time"

	"afterbeam/internal/export/table"
	"afterbeam/internal/procedure"
	"afterbeam/internal/store"
)

// Source is where the rows come from. store.DB is one.
type Source interface {
	SummaryList(ctx context.Context, f store.SummaryFilter, identified bool) iter.Seq2[store.SummaryRow, error]
	SummaryVersions(ctx context.Context, f store.SummaryFilter) iter.Seq2[store.SummaryVersion, error]
}

// Ask is which list is wanted, and how.
type Ask struct {
	Filter store.SummaryFilter
	// Identified has the identifiers of patients in it.
	Identified bool
	Format     table.Format
	Locale     table.Locale
	// Program and Made stand in the files that have a place for them.
	Program string
	Made    time.Time
	Zone    *time.Location
}

// version is that of both tables: it goes up when a reader of them would break.
const version = 1

// caution goes with every table of doses.
const caution = "Estimates with a range, not measurements. Levels prompt people to look and decide nothing: the medical physicist, licensed practice and local rules decide."

// describe gives a table of columns.
func describe[T any](name, title string, columns []column[T], ask Ask) table.Table {
	t := table.Table{Name: name, Version: version, Title: title, Language: "en", Program: ask.Program, Made: ask.Made, Zone: ask.Zone, Notes: []string{caution}}
	for _, c := range columns {
		t.Columns = append(t.Columns, c.Column)
	}
	f := ask.Filter
	for _, one := range []table.Pair{{Name: "from", Value: f.From}, {Name: "to", Value: f.To}, {Name: "room", Value: f.Room}, {Name: "class", Value: f.Class}, {Name: "device", Value: f.Device}} {
		if one.Value != "" {
			t.Filters = append(t.Filters, one)
		}
	}
	identifiers := "none"
	if ask.Identified {
		identifiers = "in the table"
	}
	t.Filters = append(t.Filters, table.Pair{Name: "identifiers", Value: identifiers})
	return t
}

// ProcedureTable describes the table of procedures.
func ProcedureTable(ask Ask) table.Table {
	return describe("procedures", "Procedures", procedureColumns(ask.Identified), ask)
}

// EventTable describes the table of irradiation events.
func EventTable(ask Ask) table.Table {
	return describe("events", "Irradiation events", eventColumns(ask.Identified), ask)
}

// Procedures writes the procedures of a filter in the order of day and id. It gives the digest of the rows that were written, also
// with an error.
func Procedures(ctx context.Context, w io.Writer, from Source, ask Ask) (table.Digest, error) {
	columns := procedureColumns(ask.Identified)
	return write(w, ProcedureTable(ask), columns, ask, func(row func(store.SummaryRow) error) error {
		for one, err := range from.SummaryList(ctx, ask.Filter, ask.Identified) {
			if err != nil {
				return err
			}
			if err := row(one); err != nil {
				return err
			}
		}
		return nil
	})
}

// Events writes the irradiation events of the procedures of a filter. read gives those of a version.
func Events(ctx context.Context, w io.Writer, from Source, read func(store.Version) ([]procedure.Event, error), ask Ask) (table.Digest, error) {
	columns := eventColumns(ask.Identified)
	return write(w, EventTable(ask), columns, ask, func(row func(eventRow) error) error {
		for one, err := range from.SummaryVersions(ctx, ask.Filter) {
			if err != nil {
				return err
			}
			events, err := read(one.Version)
			if err != nil {
				return fmt.Errorf("events of case %s: %w", one.CaseID, err)
			}
			for i, e := range events {
				if err := row(eventRow{of: &one, place: i + 1, Event: e}); err != nil {
					return err
				}
			}
		}
		return nil
	})
}

// write writes the rows that each gives, one by one.
func write[T any](w io.Writer, t table.Table, columns []column[T], ask Ask, each func(func(T) error) error) (table.Digest, error) {
	out, err := table.Open(ask.Format, w, t, ask.Locale)
	if err != nil {
		return table.Digest{}, fmt.Errorf("table of %s: %w", t.Name, err)
	}
	values := make([]table.Value, len(columns))
	err = each(func(row T) error {
		for i, c := range columns {
			values[i] = c.of(row)
		}
		return out.Row(values)
	})
	if err != nil {
		return out.Digest(), fmt.Errorf("table of %s: %w", t.Name, err)
	}
	if err := out.Close(); err != nil {
		return out.Digest(), fmt.Errorf("end table of %s: %w", t.Name, err)
	}
	return out.Digest(), nil
}
