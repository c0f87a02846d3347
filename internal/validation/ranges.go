package validation

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// Held is how often the values of one kind of case lay in the ranges that were stated for them.
type Held struct {
	What string
	// Below and Above are the values beyond the low and the high end, Of is all of them.
	Below, Above, Of int
	// Note is printed with the row.
	Note string
	// Known says why a share under the demand is known and left as it is; it is listed as a miss all the same.
	Known string
}

func (h Held) inside() int    { return h.Of - h.Below - h.Above }
func (h Held) share() float64 { return float64(h.inside()) / float64(h.Of) }

// Ranges is a table of shares of values in their ranges.
type Ranges struct {
	title  string
	demand float64
	rows   []Held
}

// NewRanges makes a table; demand is the least share that is to lie in the ranges, 0 to 1.
func NewRanges(title string, demand float64) *Ranges { return &Ranges{title: title, demand: demand} }

// Add appends rows.
func (v *Ranges) Add(rows ...Held) { v.rows = append(v.rows, rows...) }

// missed holds the share itself to the demand where counts are full; with few cases a row misses only when its whole
// interval lies under the demand.
func (v *Ranges) missed(h Held) bool {
	if h.Of <= 0 {
		return true
	}
	if Full() {
		return h.share() < v.demand
	}
	_, high := Wilson(h.inside(), h.Of)
	return high < v.demand
}

// Done fails the test on every row under the demand that is no known miss, and prints the table of a full run.
func (v *Ranges) Done(t testing.TB) {
	t.Helper()
	if Full() {
		fmt.Print(v.text())
	}
	for _, h := range v.rows {
		if v.missed(h) && h.Known == "" {
			t.Errorf("%s, %s: want %.4g of all in the range, got %d of %d", v.title, h.What, v.demand, h.inside(), h.Of)
		}
	}
	if len(v.rows) == 0 {
		t.Errorf("%s: no rows", v.title)
	}
}

// text is the table in Markdown.
func (v *Ranges) text() string {
	var b strings.Builder
	missed := 0
	fmt.Fprintf(&b, "\n### %s\n\n| what | inside | share | 95 %% interval | below, above | note | |\n|---|---|---|---|---|---|---|\n", v.title)
	for _, h := range v.rows {
		verdict := "ok"
		if v.missed(h) {
			missed++
			verdict = "MISS"
			if h.Known != "" {
				verdict += ": " + h.Known
			}
		}
		low, high := Wilson(h.inside(), h.Of)
		fmt.Fprintf(&b, "| %s | %d of %d | %.1f %% | %.1f to %.1f %% | %d, %d | %s | %s |\n",
			h.What, h.inside(), h.Of, 100*h.share(), 100*low, 100*high, h.Below, h.Above, h.Note, verdict)
	}
	fmt.Fprintf(&b, "\n%d rows, %d misses; demand %.4g %% of the values in their range.\n", len(v.rows), missed, 100*v.demand)
	return b.String()
}

// Wilson gives the 95 % interval of a share of which k of n were seen; 0 to 1 where nothing was.
// Source: Wilson EB 1927, J Am Stat Assoc 22:209-212; known: memory.
func Wilson(k, n int) (low, high float64) {
	if n <= 0 {
		return 0, 1
	}
	const z = 1.959963984540054 // the 97.5 % point of the normal distribution
	p, m := float64(k)/float64(n), float64(n)
	middle := (p + z*z/(2*m)) / (1 + z*z/m)
	half := z / (1 + z*z/m) * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	return max(0, middle-half), min(1, middle+half)
}
