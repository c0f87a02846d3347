package store

import (
	"context"

	"afterbeam/internal/quantity"
)

// Traits are what a version says of its patient and procedure beside doses and levels: what summaries group and count by.
type Traits struct {
	Complexity string
	AgeYears   quantity.Opt[float64] // as told, see procedure.ToldAge
	Sex        string
	Height     quantity.Opt[quantity.Millimetre]
	Weight     quantity.Opt[quantity.Kilogram]
	// Images counts the acquired images of all planes; absent where a plane does not tell.
	Images quantity.Opt[float64]
	// NoPeak and NoEffective say why there is no estimate of the peak skin dose and of the effective dose, "" where there is one.
	NoPeak, NoEffective string
}

// writeTraits keeps what the newest version says beside doses and levels.
func (c *change) writeTraits(ctx context.Context, caseID string, t Traits) error {
	return c.one(ctx, "write traits of case", `UPDATE procedure_case SET complexity = $2, age_years = $3, sex = $4, height_mm = $5, weight_kg = $6, images = $7, no_peak = $8, no_effective = $9
		WHERE id = $1`, caseID, t.Complexity, null(t.AgeYears), t.Sex, null(t.Height), null(t.Weight), null(t.Images), t.NoPeak, t.NoEffective)
}
