package table

import (
	"fmt"
	"io"
	"slices"
)

// Format is a kind of file.
type Format string

// The formats.
const (
	Machine     Format = "csv"         // UTF-8, comma, point, ISO 8601, no changes to texts
	Spreadsheet Format = "spreadsheet" // CSV that spreadsheet programs open as it is meant
	Workbook    Format = "xlsx"
)

// Formats lists the formats.
func Formats() []Format { return []Format{Machine, Spreadsheet, Workbook} }

// Media gives the media type of a format.
func (f Format) Media() string {
	switch f {
	case Machine, Spreadsheet:
		return "text/csv; charset=utf-8; header=present"
	case Workbook:
		return "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
	}
	return "application/octet-stream"
}

// Ending gives the ending of the name of a file, with its point.
func (f Format) Ending() string {
	if f == Workbook {
		return ".xlsx"
	}
	return ".csv"
}

// Writer takes the rows of a table one by one. After an error it takes no more.
type Writer interface {
	// Row writes one row: a value for each of the table's Columns. The slice is not kept. It returns ErrInvalid, ErrTooLong and
	// errors of the file.
	Row(values []Value) error
	// Close ends the file; without it there is none. It does not close what it writes to.
	Close() error
	// Digest is of the rows so far, final after Close.
	Digest() Digest
}

// Digest identifies the rows of a table: how many there are, and the SHA-256 in hexadecimal of the machine's CSV of them,
// whichever format was written.
type Digest struct {
	Rows   int    `json:"rows"`
	SHA256 string `json:"machine_csv_sha256"`
}

// Open begins a file of the format. The locale is looked at for Spreadsheet alone. It returns ErrInvalid for a table or locale
// that cannot be written and errors of w.
func Open(f Format, w io.Writer, t Table, l Locale) (Writer, error) {
	if err := t.Validate(); err != nil {
		return nil, err
	}
	switch f {
	case Machine:
		return openMachine(w, t)
	case Spreadsheet:
		return openSpreadsheet(w, t, l)
	case Workbook:
		return openWorkbook(w, t)
	}
	return nil, fmt.Errorf("%w: no format %q, wanted is one of %v", ErrInvalid, f, Formats())
}

// spread checks a row and puts the reasons of absent values into cells of their own.
func (t Table) spread(into, values []Value) ([]Value, error) {
	if len(values) != len(t.Columns) {
		return nil, fmt.Errorf("%w %s: a row of %d values for %d columns", ErrInvalid, t.Name, len(values), len(t.Columns))
	}
	into = slices.Grow(into[:0], 2*len(values))
	for i, v := range values {
		c := t.Columns[i]
		if err := v.fits(c); err != nil {
			return nil, err
		}
		reason := v.text
		if !v.there {
			v = Value{}
		}
		into = append(into, v)
		switch {
		case c.Reasoned && !v.there && reason != "":
			into = append(into, TextOf(reason))
		case c.Reasoned:
			into = append(into, Value{})
		}
	}
	return into, nil
}
