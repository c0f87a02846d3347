package httpapi

import (
	"context"
	"fmt"

	"afterbeam/internal/access"
	"afterbeam/internal/store"
	"afterbeam/internal/summary"
)

// ListActions lists the actions that a period is about.
func (h *handlers) ListActions(ctx context.Context, request ListActionsRequestObject) (ListActionsResponseObject, error) {
	period, err := summary.ParsePeriod(request.Params.Period)
	if err != nil {
		return nil, tell(store.ErrInvalid, err.Error())
	}
	all, err := h.store.Actions(ctx, period.From, period.To, callOf(ctx).grant.Account.Rooms)
	if err != nil {
		return nil, err
	}
	return ListActions200JSONResponse{Period: period.Name, Actions: every(all, encodeAction)}, nil
}

// AgreeAction keeps what people agreed to do.
func (h *handlers) AgreeAction(ctx context.Context, request AgreeActionRequestObject) (AgreeActionResponseObject, error) {
	b := request.Body
	if err := mayAct(callOf(ctx).grant, or(b.Room)); err != nil {
		return nil, err
	}
	a, err := h.store.AgreeAction(ctx, callOf(ctx).actor(), store.PeriodAction{
		Action: summary.Action{Period: b.Period, Text: b.Text, Owner: b.Owner, Due: b.DueOn}, Room: or(b.Room),
	})
	if err != nil {
		return nil, toldOf(err)
	}
	return AgreeAction201JSONResponse(encodeAction(a)), nil
}

// GetAction gives an action with its history.
func (h *handlers) GetAction(ctx context.Context, request GetActionRequestObject) (GetActionResponseObject, error) {
	a, err := h.seenAction(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	history, err := h.store.ActionHistory(ctx, a.ID)
	if err != nil {
		return nil, err
	}
	return GetAction200JSONResponse{Action: encodeAction(a), History: every(history, func(e store.ActionEvent) ActionEvent {
		return ActionEvent{Sequence: e.Sequence, Event: ActionEventEvent(e.Event), Text: e.Text, DueOn: e.Due, Actor: e.Actor, Role: e.Role, MadeAt: e.At}
	})}, nil
}

// ChangeAction keeps what happened to an action.
func (h *handlers) ChangeAction(ctx context.Context, request ChangeActionRequestObject) (ChangeActionResponseObject, error) {
	a, err := h.seenAction(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	if err := mayAct(callOf(ctx).grant, a.Room); err != nil {
		return nil, err
	}
	a, err = h.store.ChangeAction(ctx, callOf(ctx).actor(), a.ID, string(request.Body.Event), request.Body.Text, or(request.Body.DueOn))
	if err != nil {
		return nil, toldOf(err)
	}
	return ChangeAction200JSONResponse(encodeAction(a)), nil
}

// seenAction gives an action of a room that the caller sees, or of the whole site.
func (h *handlers) seenAction(ctx context.Context, id string) (store.PeriodAction, error) {
	a, err := h.store.Action(ctx, id)
	if err != nil || a.Room == "" {
		return a, err
	}
	return a, callOf(ctx).grant.SeesRoom(a.Room)
}

// mayAct tells whether the caller may agree on something for a room, or for the whole site.
func mayAct(g access.Grant, room string) error {
	if room != "" {
		return g.SeesRoom(room)
	}
	if !g.SeesAll() {
		return fmt.Errorf("%w: an action of the whole site wants an account that sees every room", access.ErrForbidden)
	}
	return nil
}

func encodeAction(a store.PeriodAction) PeriodAction {
	return PeriodAction{
		Id: a.ID, Period: a.Period, Room: a.Room, Text: a.Text, Owner: a.Owner, OpenedOn: a.Opened, DueOn: a.Due, ClosedOn: text(a.Closed), Outcome: a.Outcome,
	}
}
