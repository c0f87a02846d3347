package skindose

import (
	_ "embed"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"afterbeam/internal/embedded"
	"afterbeam/internal/quantity"
)

//go:embed published.csv
var publishedCSV string

// Relation is one published relation between a total and peak skin dose.
type Relation struct {
	// Classes are the procedure classes it is applied to, none where it is only quoted.
	Classes []string
	// Child and Adult say for whom it was found.
	Child, Adult bool
	// FromKAP tells that Value is in mGy per Gy cm2 of kerma-area product; else in Gy per Gy of reference air kerma.
	FromKAP bool
	// Value is the relation, Low and High the spread its source prints.
	Value     float64
	Low, High quantity.Opt[float64]
	// Patients is how many it was found with.
	Patients quantity.Opt[int]
	// Words says what was related to what, Method how the dose was found, Known how the project knows of it.
	Words, Method, Source, Known string
}

// Comparison is the peak skin dose by one published relation alone.
type Comparison struct {
	Relation  Relation
	Value     quantity.Gray
	Low, High quantity.Opt[quantity.Gray]
}

// Published gives the published relations in the order of their table.
func Published() []Relation {
	var all []Relation
	for _, row := range embedded.Records(publishedCSV) {
		r := Relation{
			Classes: strings.Fields(row[2]), Child: row[1] != "adult", Adult: row[1] != "child", FromKAP: row[0] == "kap",
			Value: embedded.Numbers(row[4:5])[0], Low: spreadEnd(row[5]), High: spreadEnd(row[6]),
			Words: row[3], Method: row[8], Source: row[9], Known: row[10],
		}
		if n, err := strconv.Atoi(row[7]); err == nil {
			r.Patients = quantity.Some(n)
		}
		all = append(all, r)
	}
	return all
}

func spreadEnd(field string) quantity.Opt[float64] {
	if field == "" {
		return quantity.None[float64]()
	}
	return quantity.Some(embedded.Numbers([]string{field})[0])
}

// grownUp is the age in years from which a patient counts as an adult in published relations; judgement, as for the
// coefficients of effective dose.
const grownUp = 16

// publishedFor applies the relations found in a class to one total.
func publishedFor(class string, child, fromKAP bool, dose func(value float64) quantity.Gray) []Comparison {
	var out []Comparison
	for _, r := range Published() {
		if r.FromKAP != fromKAP || !slices.Contains(r.Classes, class) || !(child && r.Child || !child && r.Adult) {
			continue
		}
		c := Comparison{Relation: r, Value: dose(r.Value)}
		if low, ok := r.Low.Get(); ok {
			c.Low = quantity.Some(dose(low))
		}
		if high, ok := r.High.Get(); ok {
			c.High = quantity.Some(dose(high))
		}
		out = append(out, c)
	}
	return out
}

// String words the comparison with what it was multiplied by and where that comes from.
func (c Comparison) String() string {
	r := c.Relation
	unit := "Gy per Gy of reference air kerma"
	if r.FromKAP {
		unit = "mGy per Gy cm2"
	}
	text := fmt.Sprintf("%s Gy by the published relation %s %s", quantity.Significant(float64(c.Value), 2), strconv.FormatFloat(r.Value, 'g', -1, 64), unit)
	low, hasLow := r.Low.Get()
	if high, ok := r.High.Get(); ok && hasLow {
		text += fmt.Sprintf(" (%s to %s)", strconv.FormatFloat(low, 'g', -1, 64), strconv.FormatFloat(high, 'g', -1, 64))
	}
	text += ", " + r.Words + "; " + r.Method
	if n, ok := r.Patients.Get(); ok {
		text += fmt.Sprintf(", n = %d", n)
	}
	return text + "; " + r.Source + "; " + r.Known
}
