package level

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"afterbeam/internal/embedded"
)

//go:embed levels.csv
var levelsCSV string

// ErrInvalid marks a levels file that cannot be used; the text names the line, the column and the expected form.
var ErrInvalid = errors.New("levels not usable")

// Row is one level of a scheme.
type Row struct {
	Scheme  string // short name, such as ncrp168
	Title   string // name of the scheme for people
	ID      string // unique within the scheme
	Meaning string // what reaching it prompts, such as follow-up
	// Quantity, Value and Step are in canonical units: Gy, Gy m2 and s. A Step above 0 repeats the level: a value passes
	// Value, Value + Step, Value + 2 Step and so on.
	Quantity Quantity
	Value    float64
	Step     float64
	On       bool
	Text     string
	Source   string
	Known    string // read, secondhand, memory, judgement
	Rule     Rule   // whom the row is for
}

// counts tells whether the row is compared with anything.
func (r *Row) counts() bool { return r.On && r.Quantity != QuantityNone }

// Set is the levels that a site has, those switched off included.
type Set struct {
	Rows []Row
	// PlainKAP switches the scaling of KAP levels with the field at the skin off.
	PlainKAP bool
}

var published = sync.OnceValue(func() []Row {
	return embedded.Must(parse(strings.NewReader(levelsCSV)))
})

// Default gives the published levels with those on that a new site starts with: the substantial levels of NCRP 168, the
// notifications of AAPM MPPG 12.a and our own site level for risk management.
func Default() Set { return Set{Rows: slices.Clone(published())} }

// Parse reads a site's own levels: CSV with the columns of the embedded file, # starting a comment. It returns
// ErrInvalid naming the line for anything it cannot use, and for a set in which no level with a number is on.
func Parse(r io.Reader) (Set, error) {
	rows, err := parse(r)
	if err != nil {
		return Set{}, err
	}
	if !slices.ContainsFunc(rows, func(r Row) bool { return r.counts() }) {
		return Set{}, fmt.Errorf("%w: no level with a number is on, so nothing would ever be flagged", ErrInvalid)
	}
	return Set{Rows: rows}, nil
}

// fixedColumns counts the columns that every table has.
const fixedColumns = 12

const columns = "scheme,title,id,meaning,quantity,value,step,unit,on,text,source,known"

func splitColumns(names string) []string { return strings.Split(names, ",") }

// mostBytes bounds a levels file: some thousand rows.
const mostBytes = 1 << 20

func parse(r io.Reader) ([]Row, error) {
	text, err := io.ReadAll(io.LimitReader(r, mostBytes))
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	wanted := columns
	if ruled := columns + ruleColumns; strings.Contains(string(text), ruled) {
		wanted = ruled
	}
	var rows []Row
	seen := map[string]int{}
	err = embedded.Each(bytes.NewReader(text), wanted, func(line int, record []string) error {
		row, err := parseRow(record)
		if err == nil && len(record) > fixedColumns {
			row.Rule, err = parseRule(record[fixedColumns:])
		}
		if err != nil {
			return err
		}
		key := row.Scheme + "/" + row.ID
		if before, ok := seen[key]; ok {
			return fmt.Errorf("level %s stands in line %d already", key, before)
		}
		seen[key] = line
		rows = append(rows, row)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	return rows, nil
}

func parseRow(f []string) (Row, error) {
	r := Row{
		Scheme: f[0], Title: f[1], ID: f[2], Meaning: f[3], Quantity: Quantity(f[4]), On: f[8] == "yes",
		Text: f[9], Source: f[10], Known: f[11],
	}
	switch {
	case r.Scheme == "" || r.Title == "" || r.ID == "" || r.Meaning == "":
		return r, errors.New("scheme, title, id and meaning are wanted")
	case r.Source == "" || r.Known == "":
		return r, errors.New("source and known are wanted: a level without a source is not shown")
	case f[8] != "yes" && f[8] != "no":
		return r, fmt.Errorf("on wants yes or no, got %q", f[8])
	}
	return r, r.readNumbers(f[5], f[6], f[7])
}

// readNumbers reads value, step and unit of the row's quantity; a rule without a number has none of them.
func (r *Row) readNumbers(value, step, unit string) (err error) {
	switch r.Quantity {
	case QuantityNone:
		if value != "" || step != "" || unit != "" || r.On {
			return errors.New("a rule without a number has no value, step or unit, and is never on")
		}
		return nil
	case PSD, Kerma, KAP, FluoroTime:
	default:
		return fmt.Errorf("quantity wants psd, kar, kap, ft or none, got %q", string(r.Quantity))
	}
	want, size := r.Quantity.Unit()
	if unit != want {
		return fmt.Errorf("unit of %s wants %s, got %q", r.Quantity, want, unit)
	}
	if r.Value, err = number("value", value, size); err != nil {
		return err
	}
	if step != "" {
		r.Step, err = number("step", step, size)
	}
	return err
}

func number(column, text string, size float64) (float64, error) {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v > 0) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%s wants a number above 0, got %q", column, text)
	}
	return v * size, nil
}
