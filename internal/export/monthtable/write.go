package monthtable

import (
	"io"
	"time"

	"afterbeam/internal/export/table"
	"afterbeam/internal/summary"
)

// Version goes up when a reader of the table would break.
const Version = 1

// Made says who made the table and how its files are written.
type Made struct {
	At       time.Time
	Zone     *time.Location
	Program  string
	Language string // en or de
	Notice   string // such as that data are synthetic
}

// Write writes a summary as a table and gives its digest. Errors are those of package table.
func Write(w io.Writer, f table.Format, s summary.Summary, m Made) (table.Digest, error) {
	out, err := table.Open(f, w, Table(s, m), table.LocaleOf(m.Language))
	if err != nil {
		return table.Digest{}, err
	}
	r := rows{write: out.Row}
	r.all(s)
	if r.err != nil {
		return table.Digest{}, r.err
	}
	if err := out.Close(); err != nil {
		return table.Digest{}, err
	}
	return out.Digest(), nil
}

// Decimals of every number of the table: enough for the smallest doses in the units of a summary.
const decimals = 5

// Table describes the table of a summary.
func Table(s summary.Summary, m Made) table.Table {
	number := func(name, title, meaning string) table.Column {
		return table.Column{Name: name, Title: title, Kind: table.Number, Decimals: decimals, Meaning: meaning}
	}
	t := table.Table{
		Name: "summary", Version: Version, Title: "Dose summary " + s.Period.Name, Language: m.Language, Zone: m.Zone, Program: m.Program, Made: m.At,
		Columns: []table.Column{
			{Name: "indicator", Title: "Indicator", Kind: table.ID, Meaning: "Q1 to Q15, as the indicators of the summary number them"},
			{Name: "subject", Title: "Subject", Kind: table.Text, Meaning: "What the number is about: a class of procedures, or the indicator's own name"},
			{Name: "parted_by", Title: "Parted by", Kind: table.Text, Meaning: "all, or the property by which the cases are parted"},
			{Name: "part", Title: "Part", Kind: table.Text, Meaning: "The group: a room, a size, a pseudonym"},
			{Name: "complexity", Title: "Complexity", Kind: table.Text, Meaning: "Beside operators alone"},
			{Name: "quantity", Title: "Quantity", Kind: table.Text, Meaning: "The quantity with its unit: kap_gy_cm2, kar_gy, ft_min, images, psd_gy, e_msv"},
			{Name: "unit", Title: "Unit", Kind: table.Text, Meaning: "UCUM code of value, low and high; 1 for shares, counts and ratios"},
			{Name: "basis", Title: "Basis", Kind: table.Text, Meaning: "displayed by the equipment, or estimated"},
			{Name: "statistic", Title: "Statistic", Kind: table.Text, Meaning: "min, p10 to p95, median, max, share, count, change, level"},
			{Name: "value", Title: "Value", Kind: table.Number, Decimals: decimals, Meaning: "The number, in the unit of its row", Reasoned: true},
			number("low", "Low", "Lower end of the 95 % interval"),
			number("high", "High", "Upper end of the 95 % interval"),
			{Name: "x", Title: "x", Kind: table.Number, Meaning: "Of a share: the cases of which it holds"},
			{Name: "n", Title: "n", Kind: table.Number, Meaning: "Values, or cases that could be decided"},
			{Name: "cases", Title: "Cases", Kind: table.Number, Meaning: "All cases of the group, with and without a value"},
			{Name: "note", Title: "Note", Kind: table.Text, Meaning: "Verdict on a median, source of a level"},
		},
		Filters: []table.Pair{{Name: "period", Value: s.Period.Name + " (" + s.Period.From + " to " + s.Period.To + ")"}, {Name: "as of", Value: s.AsOf}, {Name: "compared with", Value: s.Before.Name}},
		Methods: []table.Pair{
			{Name: "percentile", Value: s.Methods.Percentile},
			{Name: "interval of a percentile", Value: s.Methods.QuantileInterval},
			{Name: "interval of a share", Value: s.Methods.ShareInterval},
			{Name: "change of a median", Value: s.Methods.MedianChange},
			{Name: "small numbers", Value: s.Methods.SmallNumbers},
		},
		Notes: []string{"Peak skin dose and effective dose are estimates, not measurements. Numbers inform people and never decide for them: the medical physicist, licensed practice and local rules come first."},
	}
	if s.Leaving {
		t.Notes = append(t.Notes, "For readers outside of the department: groups of fewer than 5 are withheld.")
	}
	if m.Notice != "" {
		t.Notes = append(t.Notes, m.Notice)
	}
	for _, f := range []table.Pair{{Name: "class", Value: s.Filter.Class}, {Name: "room", Value: s.Filter.Room}, {Name: "device", Value: s.Filter.Device}} {
		if f.Value != "" {
			t.Filters = append(t.Filters, f)
		}
	}
	return t
}
