package assessment

import (
	"cmp"
	"errors"
	"fmt"
	"slices"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// ErrNoMap marks a patient of whom no earlier procedure can be laid on a body, so that nothing can be planned on it.
var ErrNoMap = errors.New("no earlier procedure has a map of skin dose")

// Earlier is a procedure that a patient has had, as it was reported, with the facts that people added.
type Earlier struct {
	Procedure procedure.Procedure
	Facts     procedure.Facts
}

// NextStage is what the earlier procedures of a patient left on the skin, laid on one body, and the pattern of the beams
// to come.
type NextStage struct {
	skindose.Plan
	// Assessments are those of the earlier procedures on the plan's body, oldest first. Their ranges are sampled coarsely:
	// a plan shows none.
	Assessments []Assessment
	// From tells for each assessment which of the earlier procedures it is of, by its index.
	From []int
	// Mapped counts the procedures whose dose is in the plan. Elsewhere is the sum of the peaks of those without a map: so
	// much may lie on any skin besides.
	Mapped, Unmapped int
	Elsewhere        quantity.Gray
	// Unknown counts the procedures without any estimate.
	Unknown int
	// Arms tells how skin of procedures with different positions of the arms was added; nil where they do not differ.
	Arms  []string
	Notes []string
}

// NextStage lays the procedures of one patient on one body: that of the newest procedure which tells height and weight,
// so that landmarks (the place along the body, the table under it) lie at the same skin in each. The pattern of beams to
// come is the beam of the newest mapped procedure that gave most at its peak. Test objects count nowhere.
func (m Method) NextStage(earlier []Earlier) (NextStage, error) {
	var n NextStage
	all := make([]Earlier, 0, len(earlier))
	for _, i := range inOrder(earlier) {
		n.From, all = append(n.From, i), append(all, earlier[i])
	}
	size, sized := sizeOf(all)
	m.RangePoints = 1
	for i := range all {
		f := &all[i].Facts
		f.Height, f.Weight, f.AgeYears = size.Height, size.Weight, size.AgeYears
		n.Assessments = append(n.Assessments, m.Assess(all[i].Procedure, *f))
	}
	var maps []*skindose.Map
	var newest *Assessment
	var skin *body.Body
	for i := range n.Assessments {
		if m := n.Assessments[i].SkinDose.Map; m != nil {
			skin = m.Body
		}
	}
	n.Arms = m.eitherArms(n.Assessments)
	for i := range n.Assessments {
		a := &n.Assessments[i]
		switch {
		case a.SkinDose.Map != nil:
			maps, newest = append(maps, a.SkinDose.Map), a
			n.Mapped++
		case a.SkinDose.Value.Present():
			n.Unmapped++
			n.Elsewhere += a.SkinDose.Value.Or(0)
		default:
			n.Unknown++
		}
	}
	if newest == nil {
		return n, fmt.Errorf("%w: %d procedures were looked at", ErrNoMap, len(all))
	}
	sum, err := skindose.Accumulate(maps...)
	if err != nil {
		return n, err
	}
	n.Plan = skindose.Plan{
		Body: skin, Already: sum, Pattern: newest.Procedure.Events[newest.SkinDose.Contributions[0].Event], Profile: newest.Profile,
		Facts: newest.Facts, Site: newest.Class.Place,
	}
	n.Notes = n.words(newest, sized)
	return n, nil
}

// inOrder gives the indexes of the procedures of a patient, oldest first, without those of test objects.
func inOrder(earlier []Earlier) []int {
	var order []int
	for i := range earlier {
		if earlier[i].Procedure.Purpose != procedure.PurposeQualityControl {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(i, j int) int {
		a, b := &earlier[i].Procedure, &earlier[j].Procedure
		return cmp.Or(a.Start.Time.Compare(b.Start.Time), cmp.Compare(a.StudyUID, b.StudyUID), cmp.Compare(a.DeviceKey, b.DeviceKey))
	})
	return order
}

// sizeOf gives the size of the body: of the newest procedure that tells height and weight, else of the newest.
func sizeOf(all []Earlier) (size struct {
	Height   quantity.Opt[quantity.Millimetre]
	Weight   quantity.Opt[quantity.Kilogram]
	AgeYears quantity.Opt[float64]
}, from string,
) {
	for i, e := range slices.Backward(all) {
		s := skindose.SizeOf(e.Procedure, e.Facts)
		if i == len(all)-1 || (s.Height.Present() && s.Weight.Present()) {
			size.Height, size.Weight, size.AgeYears = s.Height, s.Weight, s.AgeYears
			if years, ok := s.AgeYears.Get(); ok {
				size.AgeYears = quantity.Some(procedure.ToldAge(years))
			}
			from = e.Procedure.Start.LocalDate()
		}
		if s.Height.Present() && s.Weight.Present() {
			break
		}
	}
	return size, from
}

// words says what the plan rests on and lacks.
func (n NextStage) words(newest *Assessment, sized string) []string {
	notes := []string{
		fmt.Sprintf("all procedures are laid on one body, sized as on %s; their places along it come from table, target region or class", cmp.Or(sized, "a day unknown")),
		fmt.Sprintf("beams to come are like the one that gave most at the peak of %s: field, distances, technique, filters, table and arms (%s); only the directions and the kerma are planned", cmp.Or(newest.Procedure.Start.LocalDate(), "the newest procedure"), armsOf(newest.Facts)),
		"a plain sum without biological repair; the range of each estimate applies, and where procedures overlap is less certain than that",
	}
	notes = append(notes, n.Arms...)
	if n.Unmapped > 0 {
		notes = append(notes, fmt.Sprintf("%d procedures have no map: their peaks, %s Gy together, may lie on any skin besides", n.Unmapped, quantity.Significant(float64(n.Elsewhere), 2)))
	}
	if n.Unknown > 0 {
		notes = append(notes, fmt.Sprintf("%d procedures have no estimate at all: what they gave is not in the plan", n.Unknown))
	}
	return notes
}
