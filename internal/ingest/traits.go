package ingest

import (
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// traitsOf gives what summaries group and count by: age, height and weight as the estimates used them.
func traitsOf(a assessment.Assessment) store.Traits {
	t := store.Traits{
		Complexity: a.Procedure.Complexity, Sex: a.Procedure.Patient.Sex, AgeYears: a.Facts.AgeYears, Height: a.Facts.Height, Weight: a.Facts.Weight,
		Images: imagesOf(a.Procedure.Totals),
	}
	if !t.AgeYears.Present() {
		t.AgeYears = a.Procedure.AgeYears()
	}
	if age, ok := t.AgeYears.Get(); ok {
		t.AgeYears = quantity.Some(procedure.ToldAge(age))
	}
	if !t.Height.Present() {
		t.Height = a.Procedure.Patient.Height
	}
	if !t.Weight.Present() {
		t.Weight = a.Procedure.Patient.Weight
	}
	if !a.SkinDose.Value.Present() {
		t.NoPeak = a.SkinDose.Reason
	}
	if !a.Effective.Value.Present() {
		t.NoEffective = a.Effective.Reason
	}
	return t
}

// imagesOf counts the images of all planes: absent when one does not tell. A total of all planes together holds alone.
func imagesOf(totals []procedure.PlaneTotal) quantity.Opt[float64] {
	sum := 0.0
	for _, t := range totals {
		n, known := t.Frames.Get()
		if t.Plane == procedure.PlaneAll && known {
			return t.Frames
		}
		if !known {
			return quantity.None[float64]()
		}
		sum += n
	}
	if len(totals) == 0 {
		return quantity.None[float64]()
	}
	return quantity.Some(sum)
}
