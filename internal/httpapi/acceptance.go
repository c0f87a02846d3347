package httpapi

import (
	"context"
	"errors"
	"fmt"

	"afterbeam/internal/followup/acceptance"
	"afterbeam/internal/store"
)

// ListAcceptances lists comparisons of consoles with the service.
func (h *handlers) ListAcceptances(ctx context.Context, _ ListAcceptancesRequestObject) (ListAcceptancesResponseObject, error) {
	all, err := h.store.Acceptances(ctx)
	if err != nil {
		return nil, err
	}
	return ListAcceptances200JSONResponse{Acceptances: every(all, encodeAcceptance)}, nil
}

// GetAcceptance gives one as it was.
func (h *handlers) GetAcceptance(ctx context.Context, request GetAcceptanceRequestObject) (GetAcceptanceResponseObject, error) {
	a, err := h.store.Acceptance(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	return GetAcceptance200JSONResponse(encodeAcceptance(a)), nil
}

// CompareConsole compares readings with the newest versions of their procedures.
func (h *handlers) CompareConsole(ctx context.Context, request CompareConsoleRequestObject) (CompareConsoleResponseObject, error) {
	a := store.Acceptance{Reason: request.Body.Reason, TolerancePercent: acceptance.DefaultTolerance}
	if t := request.Body.TolerancePercent; t != nil {
		a.TolerancePercent = *t
	}
	cases := map[string]store.Case{}
	for i, r := range request.Body.Readings {
		c, known := cases[r.ProcedureId]
		if !known {
			var err error
			if c, err = h.seen(ctx, r.ProcedureId); err != nil {
				return nil, err
			}
			cases[r.ProcedureId] = c
		}
		reading := acceptance.Reading{Quantity: acceptance.Quantity(r.Quantity), Text: r.Text, Unit: string(r.Unit)}
		rows, err := acceptance.Compare(c.ID, []acceptance.Reading{reading}, served(c), a.TolerancePercent)
		if errors.Is(err, acceptance.ErrReading) {
			return nil, tell(store.ErrInvalid, fmt.Sprintf("reading %d: %s", i+1, err))
		}
		if err != nil {
			return nil, err
		}
		a.Rows = append(a.Rows, rows...)
	}
	a, err := h.store.KeepAcceptance(ctx, callOf(ctx).actor(), a)
	if err != nil {
		return nil, toldOf(err)
	}
	return CompareConsole201JSONResponse(encodeAcceptance(a)), nil
}

// SignAcceptance keeps that another physicist has read a comparison.
func (h *handlers) SignAcceptance(ctx context.Context, request SignAcceptanceRequestObject) (SignAcceptanceResponseObject, error) {
	a, err := h.store.SignAcceptance(ctx, callOf(ctx).actor(), request.Id, request.Body.Reason)
	if err != nil {
		return nil, toldOf(err)
	}
	return SignAcceptance200JSONResponse(encodeAcceptance(a)), nil
}

// served is what the service has of a case, as reported: neither calibrated nor estimated.
func served(c store.Case) acceptance.Served {
	const kerma, kap = store.GapKerma | store.SuspectKerma, store.GapKAP | store.SuspectKAP
	return acceptance.Served{
		Kerma: c.Kerma, KAP: c.KAP, Time: c.FluoroTime,
		KermaWhole: c.Gaps&kerma == 0, KAPWhole: c.Gaps&kap == 0, TimeWhole: c.Gaps&store.GapTime == 0,
	}
}

func encodeAcceptance(a store.Acceptance) Acceptance {
	return Acceptance{
		Id: a.ID, Reason: a.Reason, MadeBy: a.MadeBy, MadeAt: a.MadeAt, TolerancePercent: a.TolerancePercent, AllAgree: a.AllAgree,
		SignedBy: text(a.SignedBy), SignedAt: moment(a.SignedAt), SignReason: a.SignReason,
		Rows: every(a.Rows, func(r acceptance.Row) AcceptanceRow {
			return AcceptanceRow{
				ProcedureId: r.Case, Quantity: string(r.Quantity), Text: r.Text, Unit: r.Unit, Served: r.Served, DifferencePercent: r.DifferencePercent,
				State: AcceptanceRowState(r.State), Why: r.Why,
			}
		}),
	}
}
