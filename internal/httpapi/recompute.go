package httpapi

import (
	"context"
	"errors"
	"fmt"

	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// Recompute has estimates made anew in the background.
func (h *handlers) Recompute(ctx context.Context, request RecomputeRequestObject) (RecomputeResponseObject, error) {
	b := request.Body
	if err := days(b.From, b.To); err != nil {
		return nil, err
	}
	asked, err := h.store.Recompute(ctx, callOf(ctx).actor(), store.Recomputation{DeviceID: or(b.DeviceId), From: or(b.From), To: or(b.To), Reason: b.Reason})
	if errors.Is(err, store.ErrNotFound) {
		return nil, tell(store.ErrInvalid, "property device_id names no device")
	}
	if err != nil {
		return nil, err
	}
	location := "/v1/recomputations/" + asked.ID
	return Recompute202JSONResponse{Headers: Recompute202ResponseHeaders{Location: &location}, Body: encodeRecomputation(asked)}, nil
}

// ListRecomputations lists recomputations, newest first.
func (h *handlers) ListRecomputations(ctx context.Context, request ListRecomputationsRequestObject) (ListRecomputationsResponseObject, error) {
	limit := pageSize(request.Params.Limit)
	all, err := h.store.Recomputations(ctx, or(request.Params.After), limit+1)
	if err != nil {
		return nil, err
	}
	all, next := page(all, limit, func(r store.Recomputation) string { return r.ID })
	return ListRecomputations200JSONResponse{Recomputations: every(all, encodeRecomputation), Next: next}, nil
}

// GetRecomputation says how far a recomputation has come.
func (h *handlers) GetRecomputation(ctx context.Context, request GetRecomputationRequestObject) (GetRecomputationResponseObject, error) {
	r, err := h.store.Recomputation(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	return GetRecomputation200JSONResponse(encodeRecomputation(r)), nil
}

// ListDifferences lists what a recomputation changed.
func (h *handlers) ListDifferences(ctx context.Context, request ListDifferencesRequestObject) (ListDifferencesResponseObject, error) {
	if _, err := h.store.Recomputation(ctx, request.Id); err != nil {
		return nil, err
	}
	limit := pageSize(request.Params.Limit)
	all, err := h.store.Differences(ctx, request.Id, or(request.Params.After), limit+1)
	if err != nil {
		return nil, err
	}
	all, next := page(all, limit, func(d store.Difference) string { return d.Case.ID })
	if err := h.viewed(ctx, "differences.list", fmt.Sprintf("%s: %d procedures", request.Id, len(all)), ""); err != nil {
		return nil, err
	}
	return ListDifferences200JSONResponse{Differences: every(all, encodeDifference), Next: next, Caution: caution}, nil
}

func encodeRecomputation(r store.Recomputation) Recomputation {
	state := RecomputationState("ended")
	if r.Running() {
		state = RecomputationState("running")
	}
	return Recomputation{
		Id: r.ID, State: state, Reason: r.Reason, DeviceId: text(r.DeviceID), From: text(r.From), To: text(r.To), AskedBy: r.AskedBy, AskedAt: r.AskedAt,
		EndedAt: moment(r.EndedAt), Studies: r.Studies, Waiting: r.Waiting, Failed: r.Failed, Changed: r.Changed,
	}
}

func encodeDifference(d store.Difference) Difference {
	return Difference{
		ProcedureId: d.Case.ID, Room: d.Case.Room, LocalDate: text(d.Case.LocalDate), VersionBefore: d.VersionBefore, VersionAfter: d.VersionAfter,
		FlagBefore: d.FlagBefore, FlagAfter: d.FlagAfter, Change: d.Change, Numbers: every(d.Numbers, encodeNumberChange),
	}
}

// shownUnits are the units in which people read the numbers of a case, and the canonical unit's worth of each.
func shownUnits(name string) (unit string, convert func(float64) float64) {
	switch name {
	case "kap":
		return "Gy.cm2", func(v float64) float64 { return quantity.GraySquareMetre(v).Gycm2() }
	case "fluoroscopy_time":
		return "min", func(v float64) float64 { return quantity.Second(v).Minutes() }
	case "effective_dose", "effective_dose_low", "effective_dose_high":
		return "mSv", func(v float64) float64 { return quantity.Sievert(v).MSv() }
	}
	return "Gy", plain[float64]
}

func encodeNumberChange(n store.NumberChange) NumberChange {
	unit, convert := shownUnits(n.Quantity)
	return NumberChange{Quantity: n.Quantity, Unit: unit, Before: number(n.Before, convert), After: number(n.After, convert)}
}
