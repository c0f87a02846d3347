package ask

// Rung gives the highest step of the ladder that an ask has come to on a local date; the zero Step when it is not overdue or
// the ladder has no step for it yet.
func (s Schedule) Rung(a Ask, today string) Step {
	var on Step
	if !a.Overdue(today) {
		return on
	}
	over := DaysBetween(a.Due, today)
	for _, step := range s.Ladder {
		if step.Owner == a.Owner && over >= step.Days && step.Number > on.Number {
			on = step
		}
	}
	return on
}
