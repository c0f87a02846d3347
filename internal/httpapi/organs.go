package httpapi

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"afterbeam/internal/physics/organ"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// differs says why the two effective doses are not the same.
const differs = "Coefficients are means over published beams by region, filter and age; these doses follow the angles, fields, places, filters, table and " +
	"size of this procedure and patient in a stylised body. Both are estimates, and neither corrects the other."

// GetOrgans gives the organ doses of the newest version beside its estimate by coefficients.
func (h *handlers) GetOrgans(ctx context.Context, request GetOrgansRequestObject) (GetOrgansResponseObject, error) {
	c, err := h.seen(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	answer := OrganDoses{
		ProcedureId: c.ID, Version: c.Version, State: OrganDosesStatePending, Reason: "not computed yet", Cautions: []string{organ.Caution, organ.UterusCaution, organ.LensCaution},
		CoefficientsMsv: number(c.Effective, quantity.Sievert.MSv),
	}
	o, err := h.store.Organs(ctx, c.ID, c.Version)
	switch {
	case errors.Is(err, store.ErrNotFound):
	case err != nil:
		return nil, err
	default:
		if err := answer.fill(o, c); err != nil {
			return nil, err
		}
	}
	if err := h.viewed(ctx, "organs.view", c.ID, c.PatientID); err != nil {
		return nil, err
	}
	return GetOrgans200JSONResponse(answer), nil
}

// fill takes in what was computed.
func (a *OrganDoses) fill(o store.OrganDose, c store.Case) error {
	a.Methods, a.MadeAt, a.Reason = &o.Methods, &o.MadeAt, o.Reason
	if o.Reason != "" {
		a.State = OrganDosesStateNone
		return nil
	}
	var doses organ.Doses
	if err := json.Unmarshal(o.Body, &doses); err != nil {
		return fmt.Errorf("organ doses of %s/%d: %w", o.CaseID, o.Version, err)
	}
	raw := json.RawMessage(o.Body)
	a.State, a.Doses = OrganDosesStateComputed, &raw
	if by, ok := c.Effective.Get(); ok && by > 0 {
		ratio, why := float64(doses.Effective.Value/by), differs
		a.Ratio, a.WhyTheyDiffer = &ratio, &why
	}
	return nil
}
