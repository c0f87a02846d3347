package release

import (
	"archive/zip"
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"afterbeam/internal/export/table"
	"afterbeam/internal/procedure"
)

// Input is what a release is made of.
type Input struct {
	ID, Recipient, Purpose string
	Made                   time.Time
	Program                string
	Pseudonyms             Pseudonyms
	Options                Options
	Reports, Tables        bool // what is in it
	Cases                  []Case
	// Open gives what a case is made of.
	Open func(Case) (Detail, error)
}

// File is a file of a release.
type File struct {
	Name   string `json:"name"`
	Size   int    `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Manifest says what is in a release. It names neither days nor rooms by which the procedures were chosen: they would tell the
// days that were moved.
type Manifest struct {
	Release    string    `json:"release"`
	Recipient  string    `json:"recipient"`
	Purpose    string    `json:"purpose"`
	Made       time.Time `json:"made"`
	Program    string    `json:"program"`
	Method     string    `json:"method"`
	Codes      []Code    `json:"de_identification_codes"`
	Device     Device    `json:"device"`
	Persons    Persons   `json:"persons"`
	Size       string    `json:"heights_and_weights"`
	Patients   int       `json:"patients"`
	Procedures int       `json:"procedures"`
	Events     int       `json:"irradiation_events"`
	Reports    int       `json:"reports"`
	// Left counts what the reports held that is not in the release.
	Left struct {
		Attributes int `json:"attributes"`
		Items      int `json:"content_items"`
		Numbers    int `json:"numbers_without_a_known_unit"`
		Reports    int `json:"reports_that_are_no_dose_reports"`
	} `json:"left_out"`
	SmallestGroup int      `json:"smallest_group"`
	Withheld      Withheld `json:"procedures_with_withheld_particulars"`
	Files         []File   `json:"files"`
	Cautions      []string `json:"cautions"`
}

// cautions go with every release.
func cautions() []string {
	return []string{
		"De-identified is not anonymous: do not try to find out who somebody is, and do not join this with other data for that end.",
		"Estimates of skin dose and effective dose have ranges and are not measurements; levels inform people and decide nothing.",
		"Dates are moved back by a number of days of each patient: intervals of one patient hold, seasons and weekdays do not.",
		"A calibration's day is 1900-01-01 in every report, and 'removed' stands where a text must stand.",
		"The agreement with the recipient, local rules and the medical physicist come first.",
	}
}

// bundle is a release in the making.
type bundle struct {
	in       Input
	zip      *zip.Writer
	manifest Manifest
	hidden   []withheld
}

// Write writes a release as a zip file of reports, tables, their schemas and a manifest. Files and rows are in the order of the
// pseudonyms, which tells nothing. Same input, same bytes.
func Write(w io.Writer, in Input) (Manifest, error) {
	if err := in.Options.Validate(); err != nil {
		return Manifest{}, err
	}
	if len(in.Pseudonyms.key) != KeySize {
		return Manifest{}, ErrKey
	}
	in.Cases = slices.Clone(in.Cases)
	slices.SortFunc(in.Cases, func(a, b Case) int { return cmp.Compare(in.Pseudonyms.Procedure(a.ID), in.Pseudonyms.Procedure(b.ID)) })
	b := &bundle{in: in, zip: zip.NewWriter(w)}
	size := "as reported"
	switch {
	case !in.Options.Characteristics:
		size = "not released"
	case in.Options.BoundSizes:
		size = fmt.Sprintf("heights above %g m told as %g, weights above %d kg as %d; of grown-ups also below %g m and %d kg", tallest, tallest, weighty, weighty, shortest, lightest)
	}
	b.manifest = Manifest{
		Release: in.ID, Recipient: in.Recipient, Purpose: in.Purpose, Made: in.Made.UTC(), Program: in.Program, Method: Method, Codes: in.Options.Codes(),
		Device: in.Options.Device, Persons: in.Options.Persons, Size: size, Procedures: len(in.Cases), SmallestGroup: SmallestGroup, Cautions: cautions(),
	}
	b.hidden, b.manifest.Withheld = in.Pseudonyms.smallGroups(in.Cases)
	if err := b.contents(); err != nil {
		return Manifest{}, err
	}
	patients := map[string]struct{}{}
	for _, c := range in.Cases {
		patients[c.Patient] = struct{}{}
	}
	b.manifest.Patients = len(patients)
	text, err := json.MarshalIndent(b.manifest, "", "  ")
	if err != nil {
		return Manifest{}, fmt.Errorf("write manifest: %w", err)
	}
	if err := b.add("manifest.json", append(text, '\n'), false); err != nil {
		return Manifest{}, err
	}
	return b.manifest, b.zip.Close()
}

// contents writes the reports case by case, and the tables when all rows are known.
func (b *bundle) contents() error {
	var procedures, events bytes.Buffer
	rows, err := b.open(&procedures, procedureTable())
	if err != nil {
		return err
	}
	eventRows, err := b.open(&events, eventTable())
	if err != nil {
		return err
	}
	for i, c := range b.in.Cases {
		d, err := b.in.Open(c)
		if err != nil {
			return fmt.Errorf("procedure %s: %w", c.ID, err)
		}
		b.manifest.Events += len(d.Events)
		if b.in.Reports {
			if err := b.reports(c, b.hidden[i], d); err != nil {
				return fmt.Errorf("procedure %s: %w", c.ID, err)
			}
		}
		if err := rows.Row(b.row(c, b.hidden[i], len(d.Events))); err != nil {
			return err
		}
		sorted := slices.Clone(d.Events)
		slices.SortStableFunc(sorted, func(x, y procedure.Event) int { return x.Start.Time.Compare(y.Start.Time) })
		for j := range sorted {
			if err := eventRows.Row(b.eventRow(c, &sorted[j])); err != nil {
				return err
			}
		}
	}
	if !b.in.Tables {
		return nil
	}
	return errors.Join(rows.Close(), eventRows.Close(), b.tables(procedures.Bytes(), events.Bytes()))
}

func (b *bundle) open(w io.Writer, t table.Table) (table.Writer, error) {
	return table.Open(table.Machine, w, t, table.Locale{})
}

func (b *bundle) tables(procedures, events []byte) error {
	for _, one := range []struct {
		name  string
		table table.Table
		rows  []byte
	}{{"procedures", procedureTable(), procedures}, {"events", eventTable(), events}} {
		schema, err := table.Schema(one.table)
		if err != nil {
			return err
		}
		if err := errors.Join(b.add("tables/"+one.name+".csv", one.rows, true), b.add("tables/"+one.name+".schema.json", schema, true)); err != nil {
			return err
		}
	}
	return nil
}

// reports writes the released forms of a case's reports, which are those of one patient and device.
func (b *bundle) reports(c Case, w withheld, d Detail) error {
	var made []Released
	for _, set := range d.Reports {
		r, err := Report(set, Subject{Patient: c.Patient, Device: w.deviceOf(c)}, b.in.Pseudonyms, w.options(b.in.Options))
		if errors.Is(err, ErrNotDose) {
			b.manifest.Left.Reports++
			continue
		}
		if err != nil {
			return err
		}
		made = append(made, r)
	}
	slices.SortFunc(made, func(x, y Released) int { return cmp.Or(cmp.Compare(x.UID, y.UID), bytes.Compare(x.Bytes, y.Bytes)) })
	for i, r := range made {
		b.manifest.Left.Attributes += r.Left.Attributes
		b.manifest.Left.Items += r.Left.Items
		b.manifest.Left.Numbers += r.Left.Numbers
		b.manifest.Reports++
		if err := b.add(fmt.Sprintf("reports/%s/%d.dcm", b.in.Pseudonyms.Procedure(c.ID), i+1), r.Bytes, true); err != nil {
			return err
		}
	}
	return nil
}

// add writes a file. The time of the entry is that of no clock.
func (b *bundle) add(name string, content []byte, listed bool) error {
	entry, err := b.zip.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate})
	if err != nil {
		return fmt.Errorf("write %s: %w", name, err)
	}
	if _, err := entry.Write(content); err != nil {
		return fmt.Errorf("write %s: %w", name, err)
	}
	if listed {
		sum := sha256.Sum256(content)
		b.manifest.Files = append(b.manifest.Files, File{name, len(content), hex.EncodeToString(sum[:])})
	}
	return nil
}
