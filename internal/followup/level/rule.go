package level

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"afterbeam/internal/quantity"
)

// Rule limits a row to some procedures and patients; the zero Rule is all of them.
type Rule struct {
	// Classes are procedure classes of the lexicon with spaces between; "" is every class.
	Classes string
	// AgeFrom and AgeBelow are years: from the one, the other excluded.
	AgeFrom, AgeBelow quantity.Opt[float64]
	// Pregnant limits to patients of whom the report says that they are or may be pregnant.
	Pregnant bool
}

// Who is what a rule asks of a procedure and its patient.
type Who struct {
	// Class is the procedure class, "" when not known.
	Class    string
	Age      quantity.Opt[float64] // years
	Pregnant bool
	// Several tells that it is about a sum: a rule then holds only where all that it asks is known of every procedure.
	Several bool
}

// unclassified is the class of a procedure that the lexicon does not know.
const unclassified = "unclassified"

// holds tells whether a row with the rule is compared, and what of the rule was not known. An unknown class or age has the row
// compared: a level is never missed for what a report lacks.
func (r Rule) holds(w Who) (ok bool, doubt string) {
	if r.Pregnant && !w.Pregnant {
		return false, ""
	}
	var unknown []string
	if r.Classes != "" {
		switch {
		case w.Class == "" || w.Class == unclassified:
			unknown = append(unknown, "the class of procedure")
		case !slices.Contains(strings.Fields(r.Classes), w.Class):
			return false, ""
		}
	}
	from, hasFrom := r.AgeFrom.Get()
	below, hasBelow := r.AgeBelow.Get()
	if hasFrom || hasBelow {
		switch age, known := w.Age.Get(); {
		case !known:
			unknown = append(unknown, "the age")
		case hasFrom && age < from, hasBelow && age >= below:
			return false, ""
		}
	}
	if len(unknown) == 0 {
		return true, ""
	}
	return !w.Several, strings.Join(unknown, " and ") + " that this level is for is not known"
}

// String says the rule for people, "" for the zero Rule.
func (r Rule) String() string {
	var parts []string
	if r.Classes != "" {
		parts = append(parts, "of the class "+strings.Join(strings.Fields(r.Classes), " or "))
	}
	if v, ok := r.AgeFrom.Get(); ok {
		parts = append(parts, "from "+years(v)+" years")
	}
	if v, ok := r.AgeBelow.Get(); ok {
		parts = append(parts, "below "+years(v)+" years")
	}
	if r.Pregnant {
		parts = append(parts, "in pregnancy")
	}
	return strings.Join(parts, ", ")
}

func years(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// ruleColumns may follow the columns of a site's own levels.
const ruleColumns = ",classes,age_from,age_below,pregnant"

func parseRule(f []string) (Rule, error) {
	r := Rule{Classes: strings.Join(strings.Fields(f[0]), " "), Pregnant: f[3] == "yes"}
	var errs []error
	age := func(column, text string) quantity.Opt[float64] {
		if text == "" {
			return quantity.None[float64]()
		}
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || !(v >= 0) || v > 150 {
			errs = append(errs, fmt.Errorf("%s wants years from 0 to 150, got %q", column, text))
		}
		return quantity.Some(v)
	}
	r.AgeFrom, r.AgeBelow = age("age_from", f[1]), age("age_below", f[2])
	if from, ok := r.AgeFrom.Get(); ok && from >= r.AgeBelow.Or(151) {
		errs = append(errs, errors.New("age_from wants less than age_below"))
	}
	if !slices.Contains([]string{"yes", "no", ""}, f[3]) {
		errs = append(errs, fmt.Errorf("pregnant wants yes or no, got %q", f[3]))
	}
	return r, errors.Join(errs...)
}
