// Package validation sets what the program computes beside outside values, for tests. A test makes a Table, adds rows and
// calls Done; the test fails on a row beyond its tolerance that is not among the table's known misses.
//
// With AFTERBEAM_VALIDATE=full, as `make validate` runs every test named TestValidate, counts are full and the tables are
// printed. A new table needs no more than such a test, in the package that it is about.
package validation

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
)

// Full tells whether full counts are asked for.
func Full() bool { return os.Getenv("AFTERBEAM_VALIDATE") == "full" }

// Count is the number of histories, samples or rows to take: few in an ordinary run, many in a full one.
func Count(few, many int) int {
	if Full() {
		return many
	}
	return few
}

// Row is one comparison.
type Row struct {
	What      string
	Ours      float64
	Reference float64
	// Demand is the agreement asked for, relative to the reference.
	Demand float64
	// Error is the standard error of the difference by statistics, in the unit of the value; 0 where there is none. It
	// widens the tolerance by the table's number of standard errors.
	Error float64
	// Known says why a difference beyond the tolerance is known and left as it is; it is listed as a miss all the same.
	Known string
}

// Table is a set of comparisons.
type Table struct {
	title string
	times float64
	rows  []Row
}

// New makes a table; times is how many standard errors a row's tolerance holds beside its demand.
func New(title string, times float64) *Table { return &Table{title: title, times: times} }

// Add appends rows.
func (v *Table) Add(rows ...Row) { v.rows = append(v.rows, rows...) }

func (v *Table) tolerance(r Row) float64 {
	return r.Demand*math.Abs(r.Reference) + v.times*r.Error
}

// missed is true for a value that is none.
func (v *Table) missed(r Row) bool { return !(math.Abs(r.Ours-r.Reference) <= v.tolerance(r)) }

// Done fails the test on every row beyond its tolerance that is no known miss, and prints the table of a full run.
func (v *Table) Done(t testing.TB) {
	t.Helper()
	if Full() {
		fmt.Print(v.text())
	}
	for _, r := range v.rows {
		if v.missed(r) && r.Known == "" {
			t.Errorf("%s, %s: want %.5g within %.2g, got %.5g (standard error %.2g)", v.title, r.What, r.Reference, v.tolerance(r), r.Ours, r.Error)
		}
	}
	if len(v.rows) == 0 {
		t.Errorf("%s: no rows", v.title)
	}
}

// text is the table in Markdown.
func (v *Table) text() string {
	var b strings.Builder
	missed := 0
	worst := 0.0
	fmt.Fprintf(&b, "\n### %s\n\n| what | ours | reference | difference | tolerance | |\n|---|---|---|---|---|---|\n", v.title)
	for _, r := range v.rows {
		verdict := "ok"
		if v.missed(r) {
			missed++
			verdict = "MISS"
			if r.Known != "" {
				verdict += ": " + r.Known
			}
		}
		percent := func(d float64) float64 { return 100 * d / math.Abs(r.Reference) }
		worst = max(worst, math.Abs(percent(r.Ours-r.Reference)))
		fmt.Fprintf(&b, "| %s | %.4g | %.4g | %+.2f %% | %.2f %% | %s |\n",
			r.What, r.Ours, r.Reference, percent(r.Ours-r.Reference), percent(v.tolerance(r)), verdict)
	}
	fmt.Fprintf(&b, "\n%d rows, %d misses, largest difference %.2f %%; tolerance is the demand and %g standard errors.\n", len(v.rows), missed, worst, v.times)
	return b.String()
}
