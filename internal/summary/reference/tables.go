package reference

import (
	_ "embed"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"afterbeam/internal/embedded"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/quantity"
)

//go:embed levels.csv
var levels string

//go:embed distributions.csv
var distributions string

const (
	levelColumns        = "id,country,procedure,class,complexity,mount,fit,quantity,value,p25,p50,kind,year,source,known,note"
	distributionColumns = "id,procedure,class,complexity,fit,quantity,n,p25,p50,p75,year,source,known"
)

// ErrInvalid marks a table that cannot be used; the text names the line and the expected form.
var ErrInvalid = errors.New("reference levels not usable")

// Tables gives the embedded tables by name, so that a program can say which ones it holds.
func Tables() map[string]string {
	return map[string]string{"reference levels": levels, "reference distributions": distributions}
}

// Levels gives the embedded reference levels.
func Levels() []Level { return embedded.Must(Parse(strings.NewReader(levels))) }

// Distributions gives the embedded distributions.
func Distributions() []Distribution {
	return embedded.Must(parseDistributions(strings.NewReader(distributions)))
}

// UnitOf gives the UCUM code of the unit of a quantity of this package, "" of one that it does not know.
func UnitOf(of string) string {
	switch of {
	case "kap_gy_cm2":
		return "Gy.cm2"
	case "kar_gy":
		return "Gy"
	case "ft_min":
		return "min"
	case "images":
		return "1"
	}
	return ""
}

// Parse reads reference levels: CSV with the columns of the embedded table, # starting a comment. It returns ErrInvalid
// naming the line for anything it cannot use.
func Parse(table io.Reader) ([]Level, error) {
	var out []Level
	seen := map[string]bool{}
	err := embedded.Each(table, levelColumns, func(_ int, f []string) error {
		r := reader{}
		l := Level{
			ID: r.id(f[0], seen), Country: f[1], Procedure: f[2], Class: r.class(f[3]), Complexity: r.one("complexity", f[4], "", "simple", "standard", "complex"),
			Mount: r.one("mount", f[5], "", "fixed", "mobile"), Fit: r.one("fit", f[6], "close", "part", "none"), Quantity: f[7], Unit: r.unit(f[7]),
			Value: r.positive("value", f[8]), P25: r.optional("p25", f[9]), P50: r.optional("p50", f[10]),
			Kind: r.one("kind", f[11], "drl", "p75-of-medians", "p75-of-cases", "reference-level", "proposed", "local-p75"),
			Year: r.year(f[12]), Source: r.text("source", f[13]), Known: r.one("known", f[14], "read", "memory"), Note: f[15],
		}
		if r.err == nil && (l.Class == "") != (l.Fit == "none") {
			r.err = fmt.Errorf("%w: fit is none where there is no class, and only there", ErrInvalid)
		}
		out = append(out, l)
		return r.err
	})
	return out, invalid(err)
}

func parseDistributions(table io.Reader) ([]Distribution, error) {
	var out []Distribution
	seen := map[string]bool{}
	err := embedded.Each(table, distributionColumns, func(_ int, f []string) error {
		r := reader{}
		d := Distribution{
			ID: r.id(f[0], seen), Procedure: f[1], Class: r.class(f[2]), Complexity: r.one("complexity", f[3], "", "simple", "standard", "complex"),
			Fit: r.one("fit", f[4], "close", "part"), Quantity: f[5], Unit: r.unit(f[5]),
			P25: r.positive("p25", f[7]), P50: r.positive("p50", f[8]), P75: r.positive("p75", f[9]),
			Year: r.year(f[10]), Source: r.text("source", f[11]), Known: r.one("known", f[12], "read", "memory"),
		}
		if n, ok := r.optional("n", f[6]).Get(); ok {
			d.N = quantity.Some(int(n))
		}
		if r.err == nil && !slices.IsSorted([]float64{d.P25, d.P50, d.P75}) {
			r.err = fmt.Errorf("%w: want p25, p50 and p75 rising", ErrInvalid)
		}
		out = append(out, d)
		return r.err
	})
	return out, invalid(err)
}

func invalid(err error) error {
	if err == nil || errors.Is(err, ErrInvalid) {
		return err
	}
	return fmt.Errorf("%w: %w", ErrInvalid, err)
}

// reader reads the fields of one row and keeps the first fault.
type reader struct{ err error }

func (r *reader) fault(format string, args ...any) {
	if r.err == nil {
		r.err = fmt.Errorf("%w: "+format, append([]any{ErrInvalid}, args...)...)
	}
}

func (r *reader) id(field string, seen map[string]bool) string {
	if field == "" || seen[field] {
		r.fault("id %q: want one that no other row has", field)
	}
	seen[field] = true
	return field
}

func (r *reader) class(field string) string {
	if field != "" && !lexicon.Known(field) {
		r.fault("class %q: want a class of the lexicon or nothing", field)
	}
	return field
}

func (r *reader) one(column, field string, of ...string) string {
	if !slices.Contains(of, field) {
		r.fault("%s %q: want one of %q", column, field, of)
	}
	return field
}

func (r *reader) unit(field string) string {
	unit := UnitOf(field)
	if unit == "" {
		r.fault("quantity %q: want kap_gy_cm2, kar_gy, ft_min or images", field)
	}
	return unit
}

func (r *reader) text(column, field string) string {
	if strings.TrimSpace(field) == "" {
		r.fault("%s: want text", column)
	}
	return field
}

func (r *reader) positive(column, field string) float64 {
	v, err := strconv.ParseFloat(field, 64)
	if err != nil || !(v > 0) || v > 1e6 {
		r.fault("%s %q: want a number above 0", column, field)
	}
	return v
}

func (r *reader) optional(column, field string) quantity.Opt[float64] {
	if field == "" {
		return quantity.None[float64]()
	}
	return quantity.Some(r.positive(column, field))
}

func (r *reader) year(field string) int {
	year, err := strconv.Atoi(field)
	if err != nil || year < 1970 || year > 2199 {
		r.fault("year %q: want four digits", field)
	}
	return year
}
