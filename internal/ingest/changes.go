package ingest

import (
	"fmt"
	"strconv"
	"strings"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// changes says in words what differs from the version before.
func changes(before, now store.Version, a assessment.Assessment) string {
	if before.Case.ID == "" {
		return "first estimate"
	}
	if before.Digest == now.Digest {
		return ""
	}
	var words []string
	say := func(format string, args ...any) { words = append(words, fmt.Sprintf(format, args...)) }
	if before.Methods != now.Methods {
		say("methods or tables are new")
	}
	if old, err := archive.ReadProcedure(before.Body); err == nil {
		if n := fresh(a.Procedure.ReportUIDs, old.Procedure.ReportUIDs); n > 0 {
			say("%d new reports", n)
		}
		if was, is := len(old.Procedure.Events), len(a.Procedure.Events); was != is {
			say("%d events instead of %d", is, was)
		}
		if len(a.Procedure.Superseded) > len(old.Procedure.Superseded) {
			say("values of %d events were corrected", len(a.Procedure.Superseded)-len(old.Procedure.Superseded))
		}
		if old.Facts != a.Facts {
			say("facts were added")
		}
	}
	if before.Case.State != now.Case.State {
		say("%s instead of %s", now.Case.State, before.Case.State)
	}
	if before.Case.FlagState != now.Case.FlagState {
		say("flag %s instead of %s", now.Case.FlagState, before.Case.FlagState)
	}
	if moved(before.Case.PSD, now.Case.PSD) {
		say("peak skin dose %s instead of %s", shown(now.Case.PSD), shown(before.Case.PSD))
	}
	if len(words) == 0 {
		say("details of the result")
	}
	return strings.Join(words, "; ")
}

func fresh(now, before []string) (n int) {
	known := map[string]bool{}
	for _, uid := range before {
		known[uid] = true
	}
	for _, uid := range now {
		if !known[uid] {
			n++
		}
	}
	return n
}

func moved(a, b quantity.Opt[quantity.Gray]) bool { return shown(a) != shown(b) }

func shown(v quantity.Opt[quantity.Gray]) string {
	dose, ok := v.Get()
	if !ok {
		return "none"
	}
	return quantity.Significant(float64(dose), 3) + " Gy"
}

// factsOf gives the facts in force: the newest of each name. The names and units are those of the HTTP contract.
func factsOf(list []store.Fact) (procedure.Facts, error) {
	var f procedure.Facts
	for _, fact := range list {
		if err := setFact(&f, fact.Name, fact.Value); err != nil {
			return f, fmt.Errorf("fact %d: %w", fact.Sequence, err)
		}
	}
	return f, nil
}

func setFact(f *procedure.Facts, name, value string) error {
	number := func() (float64, error) { return strconv.ParseFloat(value, 64) }
	var v float64
	var err error
	switch name {
	case "height_cm":
		v, err = number()
		f.Height = quantity.Some(quantity.Millimetre(v) * quantity.Centimetre)
	case "weight_kg":
		v, err = number()
		f.Weight = quantity.Some(quantity.Kilogram(v))
	case "age_years":
		v, err = number()
		f.AgeYears = quantity.Some(v)
	case "table_offset_mm":
		v, err = number()
		f.TableOffset = quantity.Some(quantity.Millimetre(v))
	case "class":
		f.Class = value
	case "direction":
		f.Direction = map[string]procedure.Direction{"head_first": procedure.HeadFirst, "feet_first": procedure.FeetFirst}[value]
	case "posture":
		f.Posture = map[string]procedure.Posture{
			"supine": procedure.Supine, "prone": procedure.Prone, "decubitus_left": procedure.DecubitusLeft, "decubitus_right": procedure.DecubitusRight,
		}[value]
	default:
		return poison(fmt.Sprintf("no fact is named %q", name))
	}
	return err
}
