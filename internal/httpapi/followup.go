package httpapi

import (
	"context"

	"afterbeam/internal/followup/ask"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// GetFollowUp gives everything about the follow-up of a procedure.
func (h *handlers) GetFollowUp(ctx context.Context, request GetFollowUpRequestObject) (GetFollowUpResponseObject, error) {
	c, err := h.seen(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	flags, err := h.store.RaisedFlags(ctx, c.ID)
	if err != nil {
		return nil, err
	}
	asks, err := h.store.Asks(ctx, store.AskFilter{CaseID: c.ID})
	if err != nil {
		return nil, err
	}
	own, err := h.store.OwnEstimates(ctx, c.ID)
	if err != nil {
		return nil, err
	}
	if err := h.viewed(ctx, "follow-up.view", c.ID, c.PatientID); err != nil {
		return nil, err
	}
	today := h.store.Today()
	return GetFollowUp200JSONResponse{
		Procedure: encodeCase(c), Flags: every(flags, encodeRaised), Asks: every(asks, func(a store.AskRecord) Ask { return encodeAsk(a, today) }),
		OwnEstimates: every(own, encodeOwn), Today: today, Caution: caution,
	}, nil
}

// AddOwnEstimate keeps a physicist's own estimate.
func (h *handlers) AddOwnEstimate(ctx context.Context, request AddOwnEstimateRequestObject) (AddOwnEstimateResponseObject, error) {
	c, err := h.seen(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	b := request.Body
	own, err := h.store.AddOwnEstimate(ctx, callOf(ctx).actor(), c.ID, ask.Own{
		Value: quantity.Gray(b.ValueGy), Low: quantity.Gray(b.LowGy), High: quantity.Gray(b.HighGy), Place: or(b.Place), Method: b.Method, Reason: b.Reason,
	})
	if err != nil {
		return nil, toldOf(err)
	}
	return AddOwnEstimate201JSONResponse(encodeOwn(own)), nil
}

// GetRaisedFlag gives a flag that was reached with its history.
func (h *handlers) GetRaisedFlag(ctx context.Context, request GetRaisedFlagRequestObject) (GetRaisedFlagResponseObject, error) {
	f, patient, err := h.seenFlag(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	detail, err := h.flagDetail(ctx, f, patient)
	if err != nil {
		return nil, err
	}
	return GetRaisedFlag200JSONResponse(detail), nil
}

func (h *handlers) seenFlag(ctx context.Context, id string) (f store.RaisedFlag, patient string, err error) {
	if f, err = h.store.RaisedFlag(ctx, id); err != nil {
		return f, "", err
	}
	c, err := h.seen(ctx, f.CaseID)
	return f, c.PatientID, err
}

func (h *handlers) flagDetail(ctx context.Context, f store.RaisedFlag, patient string) (RaisedFlagDetail, error) {
	history, err := h.store.FlagHistory(ctx, f.ID)
	if err != nil {
		return RaisedFlagDetail{}, err
	}
	asks, err := h.store.AsksOfFlag(ctx, f.ID)
	if err != nil {
		return RaisedFlagDetail{}, err
	}
	if err := h.viewed(ctx, "flag.view", f.ID, patient); err != nil {
		return RaisedFlagDetail{}, err
	}
	return RaisedFlagDetail{Flag: encodeRaised(f), History: every(history, encodeFlagEvent), AskIds: every(asks, func(id string) string { return id }), Caution: caution}, nil
}

// SettleFlag keeps a person's word that nothing more follows from a flag.
func (h *handlers) SettleFlag(ctx context.Context, request SettleFlagRequestObject) (SettleFlagResponseObject, error) {
	f, patient, err := h.seenFlag(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	f, err = h.store.SettleFlag(ctx, callOf(ctx).actor(), f.ID, ask.Settlement{Ground: ask.Ground(request.Body.Ground), Reason: request.Body.Reason})
	if err != nil {
		return nil, toldOf(err)
	}
	detail, err := h.flagDetail(ctx, f, patient)
	if err != nil {
		return nil, err
	}
	return SettleFlag200JSONResponse(detail), nil
}

// GetSchedule gives the schedule in force.
func (h *handlers) GetSchedule(context.Context, GetScheduleRequestObject) (GetScheduleResponseObject, error) {
	s := h.store.Schedule()
	return GetSchedule200JSONResponse{Rows: every(s.Rows, encodeScheduleRow), Ladder: every(s.Ladder, func(step ask.Step) LadderStep {
		return LadderStep{Owner: string(step.Owner), Step: step.Number, DaysOver: step.Days, To: string(step.To), Source: step.Source, Known: step.Known}
	})}, nil
}

func encodeScheduleRow(r ask.Row) ScheduleRow {
	row := ScheduleRow{
		Slot: r.Slot, Kind: string(r.Kind), Owner: string(r.Owner), CountedFrom: ScheduleRowCountedFrom(r.Count), WorkingDays: r.Working, Due: r.Due,
		State: r.State, Meaning: r.Meaning, KermaGy: number(r.Kerma, plain), PeakSkinGy: number(r.PSD, plain), Text: r.Text, Words: ask.Words(r.Text),
		Source: r.Source, Known: r.Known,
	}
	if r.HasFrom {
		row.From = &r.From
	}
	if grade, ok := r.Grade.Get(); ok {
		n := int(grade)
		row.Grade = &n
	}
	return row
}

func encodeRaised(f store.RaisedFlag) RaisedFlag {
	return RaisedFlag{
		Id: f.ID, ProcedureId: f.CaseID, Scope: f.Scope, Scheme: f.Key.Scheme, Title: f.Title, LevelId: f.Key.Level, Meaning: f.Meaning,
		Quantity: string(f.Quantity), State: RaisedFlagState(f.State), Value: number(f.Value, plain), Level: number(f.Level, plain),
		Margin: margin(f.Value, f.Level), Text: f.Text, RaisedAt: f.RaisedAt, RaisedVersion: f.RaisedVersion, ReachedVersion: f.ReachedVersion, Why: f.Why,
	}
}

func encodeFlagEvent(e store.FlagEvent) FlagEvent {
	return FlagEvent{
		Sequence: e.Sequence, Event: FlagEventEvent(e.Event), At: e.At, Actor: e.Actor, Role: e.Role, Version: e.Version,
		Value: number(e.Value, plain), Level: number(e.Level, plain), Ground: string(e.Ground), Reason: e.Reason,
	}
}

func encodeOwn(e store.OwnEstimate) OwnEstimate {
	return OwnEstimate{
		Id: e.ID, Version: e.Version, ValueGy: float64(e.Value), LowGy: float64(e.Low), HighGy: float64(e.High), Place: e.Place, Method: e.Method,
		Reason: e.Reason, Author: e.Author, MadeAt: e.MadeAt,
	}
}
