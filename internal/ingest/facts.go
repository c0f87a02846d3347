package ingest

import (
	"fmt"
	"slices"
	"strconv"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// factsOf gives the facts in force: the newest of each name. What a person said holds against what came with a performed
// step, whichever is newer: a person looks at the one case, a table is filled in long before or after. The names and
// units are those of the HTTP contract.
func factsOf(list []store.Fact) (procedure.Facts, error) {
	var f procedure.Facts
	imported := func(fact store.Fact) bool { return fact.Source == store.SourcePerformed }
	inOrder := slices.Clone(list)
	slices.SortStableFunc(inOrder, func(a, b store.Fact) int {
		switch {
		case imported(a) && !imported(b):
			return -1
		case imported(b) && !imported(a):
			return 1
		}
		return 0
	})
	for _, fact := range inOrder {
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
	case "arms":
		f.Arms = map[string]procedure.Arms{"raised": procedure.ArmsRaised, "alongside": procedure.ArmsAlongside}[value]
	default:
		return poison(fmt.Sprintf("no fact is named %q", name))
	}
	return err
}
