package assessment

import (
	"slices"
	"strings"

	"afterbeam/internal/followup/level"
)

// Previewed is a case that a preview of levels looks at.
type Previewed struct {
	ID      string
	Patient string // one for all records of a patient
	Delivered
}

// Preview is what a change of levels would have flagged.
type Preview struct {
	Cases int
	// Before and After count the cases by their state.
	Before, After map[level.State]int
	// Differ are the cases whose state or reached levels would be others, in the order in which they were given.
	Differ []PreviewDifference
}

// PreviewDifference is one case under both sets; levels are named scheme/id, with the window behind where they are of a sum.
type PreviewDifference struct {
	ID            string
	Before, After level.State
	Gained, Lost  []string
}

// previewWindow is the window whose sum is compared beside each case, in days.
// Source: SIR 2009 (Stecker et al, J Vasc Interv Radiol 20:S263; known from memory).
const previewWindow = 60

// PreviewLevels compares the cases from a local day on with two sets of levels, each alone and with what its patient received
// in the window before. Peaks of several procedures are added as an upper bound: the maps are not laid on one body again.
func PreviewLevels(before, after level.Set, cases []Previewed, from string) Preview {
	p := Preview{Before: map[level.State]int{}, After: map[level.State]int{}}
	byPatient := map[string][]Delivered{}
	for _, c := range cases {
		if c.Patient != "" {
			byPatient[c.Patient] = append(byPatient[c.Patient], c.Delivered)
		}
	}
	for _, c := range cases {
		if c.LocalDate < from {
			continue
		}
		others := byPatient[c.Patient]
		was, had := flagged(before, c.Delivered, others)
		is, has := flagged(after, c.Delivered, others)
		p.Cases++
		p.Before[was]++
		p.After[is]++
		gained, lost := lacking(has, had), lacking(had, has)
		if was != is || len(gained)+len(lost) > 0 {
			p.Differ = append(p.Differ, PreviewDifference{ID: c.ID, Before: was, After: is, Gained: gained, Lost: lost})
		}
	}
	return p
}

// flagged gives the state of a case under a set, and the levels it reached.
func flagged(set level.Set, c Delivered, others []Delivered) (level.State, []string) {
	m := Method{Levels: set}
	alone := m.Sum([]Delivered{c}, 0, c.LocalDate)
	state := alone.Levels.State
	reached := named(alone.Levels, "")
	if c.QualityControl || c.LocalDate == "" || len(others) < 2 {
		return state, reached
	}
	if sum := m.Sum(others, previewWindow, c.LocalDate); sum.Procedures > 1 {
		state = min(state, sum.Levels.State)
		reached = append(reached, named(sum.Levels, " in 60 days")...)
	}
	return state, reached
}

func named(e level.Evaluation, behind string) []string {
	var names []string
	for _, r := range e.Results {
		if r.State == level.Reached {
			names = append(names, strings.Join([]string{r.Row.Scheme, r.Row.ID}, "/")+behind)
		}
	}
	return names
}

// lacking gives what is in one list and not in the other.
func lacking(in, not []string) []string {
	var all []string
	for _, name := range in {
		if !slices.Contains(not, name) {
			all = append(all, name)
		}
	}
	return all
}
