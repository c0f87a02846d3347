// Package monthfile writes a summary as a file of the form that somebody asked for. Form lists the forms, Write writes one.
package monthfile

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"afterbeam/internal/export/monthpack"
	"afterbeam/internal/export/monthtable"
	"afterbeam/internal/export/paperpdf"
	"afterbeam/internal/export/table"
	"afterbeam/internal/summary"
)

// ErrForm marks a form that there is none of.
var ErrForm = errors.New("no such form of a summary")

// Form is the form of a file.
type Form string

// The forms.
const (
	JSON        Form = "json"        // the summary itself
	PDF         Form = "pdf"         // the pack for a committee
	Workbook    Form = "xlsx"        // a number a row, with dictionary and provenance
	CSV         Form = "csv"         // the same rows for machines
	Spreadsheet Form = "spreadsheet" // the same rows as CSV for spreadsheet programs
)

// Forms lists the forms.
func Forms() []Form { return []Form{JSON, PDF, Workbook, CSV, Spreadsheet} }

// Made says by and for whom a file is made.
type Made struct {
	At         time.Time
	Zone       *time.Location // nil is UTC
	Program    string
	Centre     string
	Department string
	// Notice is said with the numbers, such as that data are synthetic.
	Notice   string
	Language string        // en or de
	Size     paperpdf.Size // of the PDF
}

// Media gives the media type.
func (f Form) Media() string {
	switch f {
	case PDF:
		return "application/pdf"
	case Workbook, CSV, Spreadsheet:
		return table.Format(f).Media()
	case JSON:
	}
	return "application/json"
}

// Name names the file of a period. It holds no identifier.
func (f Form) Name(p summary.Period) string {
	name := "summary-" + p.Name
	switch f {
	case Spreadsheet:
		return name + "-spreadsheet.csv"
	case PDF, Workbook, CSV, JSON:
	}
	return name + "." + string(f)
}

// Write writes a summary. It returns ErrForm, monthpack.ErrLanguage, paperpdf.ErrSize and errors of w.
func Write(w io.Writer, f Form, s summary.Summary, m Made) error {
	if !slices.Contains(monthpack.Languages(), m.Language) {
		return fmt.Errorf("%w: %q, wanted is one of %s", monthpack.ErrLanguage, m.Language, strings.Join(monthpack.Languages(), ", "))
	}
	zone := m.Zone
	if zone == nil {
		zone = time.UTC
	}
	switch f {
	case JSON:
		e := json.NewEncoder(w)
		e.SetIndent("", "  ")
		return e.Encode(s)
	case PDF:
		return monthpack.Write(w, m.Language, m.Size, monthpack.Input{
			Summary: s, Centre: m.Centre, Department: m.Department, Notice: m.Notice, Made: m.At.In(zone), Program: m.Program,
		})
	case Workbook, CSV, Spreadsheet:
		_, err := monthtable.Write(w, table.Format(f), s, monthtable.Made{At: m.At, Zone: zone, Program: m.Program, Language: m.Language, Notice: m.Notice})
		return err
	}
	return fmt.Errorf("%w: %q, wanted is one of %v", ErrForm, f, Forms())
}
