package ingest

import (
	"fmt"
	"strconv"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

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
