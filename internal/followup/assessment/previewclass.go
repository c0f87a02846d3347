package assessment

import (
	"slices"

	"afterbeam/internal/followup/level"
)

// PreviewClasses compares cases under a set of levels with the classes that they have and with those that they would have, by
// their ids: what differs as far as rules for classes decide, the numbers being what they are. It gives the cases whose state
// or reached levels would be others, each alone and with what its patient received in the window before, and nothing where the
// set has no rule for classes.
func PreviewClasses(set level.Set, cases []Previewed, becomes map[string]string) []PreviewDifference {
	if !ByClass(set) {
		return nil
	}
	var concerned []string // patients
	for _, c := range cases {
		if _, moved := becomes[c.ID]; moved && c.Patient != "" {
			concerned = append(concerned, c.Patient)
		}
	}
	slices.Sort(concerned)
	then := func(c Previewed) Delivered {
		d := c.Delivered
		if class, moved := becomes[c.ID]; moved {
			d.Who.Class = class
		}
		return d
	}
	was, is := map[string][]Delivered{}, map[string][]Delivered{}
	for _, c := range cases {
		if _, found := slices.BinarySearch(concerned, c.Patient); found {
			was[c.Patient], is[c.Patient] = append(was[c.Patient], c.Delivered), append(is[c.Patient], then(c))
		}
	}
	var all []PreviewDifference
	for _, c := range cases {
		if _, moved := becomes[c.ID]; !moved && len(was[c.Patient]) == 0 {
			continue
		}
		before, had := flagged(set, c.Delivered, was[c.Patient])
		after, has := flagged(set, then(c), is[c.Patient])
		gained, lost := lacking(has, had), lacking(had, has)
		if before != after || len(gained)+len(lost) > 0 {
			all = append(all, PreviewDifference{ID: c.ID, Before: before, After: after, Gained: gained, Lost: lost})
		}
	}
	return all
}

// ByClass tells whether a level in force is for some classes alone.
func ByClass(set level.Set) bool {
	return slices.ContainsFunc(set.Rows, func(r level.Row) bool { return r.On && r.Rule.Classes != "" })
}
