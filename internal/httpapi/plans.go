package httpapi

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"

	"afterbeam/internal/export/outlook"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// PlanBeams looks ahead at the next procedure of a patient. It rests on every procedure, also on those in rooms the caller
// does not see: the skin received them all.
func (h *handlers) PlanBeams(ctx context.Context, request PlanBeamsRequestObject) (PlanBeamsResponseObject, error) {
	all, _, err := h.seenCases(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	ask, err := askOf(*request.Body)
	if err != nil {
		return nil, err
	}
	if !h.planning.TryLock() {
		return nil, tell(errBusy, "another plan is being worked out")
	}
	defer h.planning.Unlock()
	doc, err := h.cfg.Plans.Plan(ctx, all, ask)
	switch {
	case errors.Is(err, outlook.ErrAsk):
		return nil, tell(store.ErrInvalid, err.Error())
	case errors.Is(err, assessment.ErrNoMap):
		return nil, tell(store.ErrConflict, "no procedure of this patient has a map of skin dose, so that nothing can be planned on it")
	case errors.Is(err, skindose.ErrPlan):
		return nil, tell(errNotPlanned, "a beam cannot be placed on the body of the patient or hits no skin of it")
	case err != nil:
		return nil, fmt.Errorf("plan for %s: %w", request.Id, err)
	}
	body, err := json.Marshal(doc)
	if err != nil {
		return nil, fmt.Errorf("write plan: %w", err)
	}
	if err := h.viewed(ctx, "plan.view", request.Id, request.Id); err != nil {
		return nil, err
	}
	return planAnswer{body}, nil
}

// GetPatientMap draws what all procedures of a patient left on the skin of one body, also those in rooms the caller does not
// see. It waits for its turn beside plans.
func (h *handlers) GetPatientMap(ctx context.Context, request GetPatientMapRequestObject) (GetPatientMapResponseObject, error) {
	all, _, err := h.seenCases(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	format := "png"
	if request.Params.Format != nil {
		format = string(*request.Params.Format)
	}
	h.planning.Lock()
	contentType, body, err := h.cfg.Plans.Drawn(ctx, all, format)
	h.planning.Unlock()
	switch {
	case errors.Is(err, assessment.ErrNoMap):
		return nil, tell(store.ErrConflict, "no procedure of this patient has a map of skin dose")
	case err != nil:
		return nil, fmt.Errorf("draw map of %s: %w", request.Id, err)
	}
	if err := h.viewed(ctx, "map.view", request.Id, request.Id); err != nil {
		return nil, err
	}
	return drawn{contentType, body}, nil
}

// askOf reads what is asked for. Minutes at a rate are a kerma.
func askOf(r BeamPlanRequest) (outlook.Ask, error) {
	ask := outlook.Ask{Place: string(or(r.Place)), Field: quantity.Millimetre(or(r.FieldMm)), Detector: quantity.Millimetre(or(r.DetectorMm))}
	if r.TableDepthMm != nil {
		ask.TableDepth = quantity.Some(quantity.Millimetre(*r.TableDepthMm))
	}
	if r.Grid != nil {
		ask.Grid = quantity.Gray(r.Grid.KermaGy)
	}
	for i, b := range or(r.Beams) {
		timed := b.Minutes != nil && b.RateGyPerMin != nil
		if (b.KermaGy != nil) == timed || (b.Minutes != nil) != (b.RateGyPerMin != nil) {
			return ask, tell(store.ErrInvalid, fmt.Sprintf("beam %d: wanted kerma_gy, or minutes with rate_gy_per_min", i+1))
		}
		kerma := quantity.Gray(or(b.KermaGy))
		if timed {
			kerma = quantity.Gray(*b.Minutes * *b.RateGyPerMin)
		}
		ask.Beams = append(ask.Beams, skindose.Planned{
			Direction: skindose.Direction{Primary: quantity.Degree(b.PrimaryDeg), Secondary: quantity.Degree(b.SecondaryDeg)}, Kerma: kerma,
		})
	}
	if err := ask.Check(); err != nil {
		return ask, tell(store.ErrInvalid, err.Error())
	}
	return ask, nil
}

// planAnswer is a plan as it goes over the wire: the document that every way of asking gives.
type planAnswer struct{ body []byte }

// VisitPlanBeamsResponse writes the answer.
func (a planAnswer) VisitPlanBeamsResponse(w http.ResponseWriter) error {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Content-Length", strconv.Itoa(len(a.body)))
	w.WriteHeader(http.StatusOK)
	_, err := w.Write(a.body)
	return err
}
