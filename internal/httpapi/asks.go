package httpapi

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"afterbeam/internal/access"
	"afterbeam/internal/followup/ask"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// ListAsks lists what is asked in the caller's scope.
func (h *handlers) ListAsks(ctx context.Context, request ListAsksRequestObject) (ListAsksResponseObject, error) {
	p := request.Params
	limit := pageSize(p.Limit)
	if err := days(p.DueFrom, p.DueTo); err != nil {
		return nil, err
	}
	f := h.asksOf(ctx, store.AskFilter{
		Owner: ask.Role(or(p.Owner)), Kind: ask.Kind(or(p.Kind)), Room: or(p.Room), CaseID: or(p.Procedure), PatientID: or(p.Patient),
		DueFrom: or(p.DueFrom), Due: or(p.DueTo), After: or(p.After), Limit: limit + 1,
	})
	switch state := or(p.State); state {
	case "", ListAsksParamsStateOpen:
		f.States = []ask.State{ask.Open}
	case ListAsksParamsStateOverdue:
		f.Overdue = true
	case ListAsksParamsStateAll:
	default:
		f.States = []ask.State{ask.State(state)}
	}
	if or(p.Mine) {
		f.Person = callOf(ctx).grant.Account.ID
	}
	all, err := h.store.Asks(ctx, f)
	if err != nil {
		return nil, err
	}
	all, next := page(all, limit, func(a store.AskRecord) string { return a.ID })
	if err := h.viewed(ctx, "asks.list", fmt.Sprintf("%d asks", len(all)), ""); err != nil {
		return nil, err
	}
	today := h.store.Today()
	return ListAsks200JSONResponse{Asks: every(all, func(a store.AskRecord) Ask { return encodeAsk(a, today) }), Today: today, Next: next}, nil
}

// asksOf puts the scope of the caller into a filter.
func (h *handlers) asksOf(ctx context.Context, f store.AskFilter) store.AskFilter {
	scope := callOf(ctx).grant.Narrow(store.Filter{})
	f.Rooms, f.Account = scope.Rooms, scope.Account
	return f
}

// CountAsks counts what is asked in the caller's scope.
func (h *handlers) CountAsks(ctx context.Context, request CountAsksRequestObject) (CountAsksResponseObject, error) {
	p := request.Params
	if err := days(p.DueFrom, p.DueTo); err != nil {
		return nil, err
	}
	counts, err := h.store.AskCounts(ctx, h.asksOf(ctx, store.AskFilter{Room: or(p.Room), DueFrom: or(p.DueFrom), Due: or(p.DueTo)}))
	if err != nil {
		return nil, err
	}
	answer := CountAsks200JSONResponse{Today: h.store.Today()}
	for _, n := range counts {
		if n.State == ask.Open {
			answer.Open += n.Number
		}
		if n.Overdue {
			answer.Overdue += n.Number
		}
	}
	answer.Counts = every(counts, func(n store.AskCount) AskCount {
		return AskCount{Kind: string(n.Kind), Owner: string(n.Owner), State: string(n.State), Overdue: n.Overdue, OverAWeek: n.WeekOver, Number: n.Number}
	})
	return answer, nil
}

// GetAsk gives an ask with its history.
func (h *handlers) GetAsk(ctx context.Context, request GetAskRequestObject) (GetAskResponseObject, error) {
	a, err := h.seenAsk(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	detail, err := h.askDetail(ctx, a)
	if err != nil {
		return nil, err
	}
	return GetAsk200JSONResponse(detail), nil
}

// seenAsk gives an ask about a case in the caller's scope.
func (h *handlers) seenAsk(ctx context.Context, id string) (store.AskRecord, error) {
	a, err := h.store.Ask(ctx, id)
	if err != nil {
		return a, err
	}
	_, err = h.seen(ctx, a.CaseID)
	return a, err
}

func (h *handlers) askDetail(ctx context.Context, a store.AskRecord) (AskDetail, error) {
	history, err := h.store.AskHistory(ctx, a.ID)
	if err != nil {
		return AskDetail{}, err
	}
	if err := h.viewed(ctx, "ask.view", a.ID, a.Patient); err != nil {
		return AskDetail{}, err
	}
	detail := AskDetail{Ask: encodeAsk(a, h.store.Today()), History: every(history, encodeAskEvent), Bands: []string{}, Caution: caution}
	if a.Answer != nil {
		if grade, ok := a.Answer.Grade.Get(); ok {
			detail.GradeWords = ask.GradeWords(int(grade))
			detail.Bands = append(detail.Bands, ask.BandsOf(int(grade))...)
		}
	}
	return detail, nil
}

// AnswerAsk keeps what the caller says to an ask.
func (h *handlers) AnswerAsk(ctx context.Context, request AnswerAskRequestObject) (AnswerAskResponseObject, error) {
	a, err := h.seenAsk(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	b := request.Body
	said := ask.Answer{
		Outcome: ask.Outcome(b.Outcome), Day: b.Day, Place: or(b.Place), Picture: or(b.Picture), Note: or(b.Note), Final: or(b.Final), Correction: or(b.Correction),
	}
	if b.Grade != nil {
		said.Grade = quantity.Some(float64(*b.Grade))
	}
	if a, err = h.store.AnswerAsk(ctx, callOf(ctx).actor(), a.ID, said); err != nil {
		return nil, toldOf(err)
	}
	detail, err := h.askDetail(ctx, a)
	if err != nil {
		return nil, err
	}
	return AnswerAsk200JSONResponse(detail), nil
}

// HandOverAsk asks another person.
func (h *handlers) HandOverAsk(ctx context.Context, request HandOverAskRequestObject) (HandOverAskResponseObject, error) {
	a, err := h.seenAsk(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	if a, err = h.store.HandOverAsk(ctx, callOf(ctx).actor(), a.ID, request.Body.AccountId, request.Body.Reason); err != nil {
		return nil, toldOf(err)
	}
	detail, err := h.askDetail(ctx, a)
	if err != nil {
		return nil, err
	}
	return HandOverAsk200JSONResponse(detail), nil
}

// toldOf lets the caller read why the follow-up refuses something: these texts are ours and name no patient.
func toldOf(err error) error {
	kind := store.ErrInvalid
	switch {
	case errors.Is(err, ask.ErrRefused):
		kind = store.ErrConflict
		if errors.Is(err, ask.ErrRole) {
			kind = access.ErrForbidden
		}
	case errors.Is(err, store.ErrConflict):
		kind = store.ErrConflict
	case !errors.Is(err, store.ErrInvalid) && !errors.Is(err, ask.ErrInvalid):
		return err
	}
	text := err.Error()
	for _, mark := range []error{store.ErrInvalid, store.ErrConflict, ask.ErrInvalid, ask.ErrRole, ask.ErrRefused} {
		text = strings.ReplaceAll(text, mark.Error()+": ", "")
	}
	return tell(kind, strings.ReplaceAll(text, "\n", "; "))
}

func encodeAsk(a store.AskRecord, today string) Ask {
	flag := AskFlag(a.FlagState)
	if flag == "" {
		flag = AskFlag("none")
	}
	one := Ask{
		Id: a.ID, Slot: a.Slot, Kind: AskKind(a.Kind), Owner: AskOwner(a.Owner), PersonId: text(a.Person), NotBefore: text(a.From), Due: a.Due,
		State: AskState(a.State), Overdue: a.Overdue(today), DaysOver: ask.DaysBetween(a.Due, today), Rung: a.Rung, Text: a.Text, Words: ask.Words(a.Text),
		Holds: a.Holds, Attempts: a.Attempts, ProcedureId: a.CaseID, PatientId: a.Patient, Room: a.Room, LocalDate: text(a.Day), Class: a.Class,
		Description: a.Description, Flag: flag, MadeAt: a.MadeAt, Source: a.Source + " (" + a.Known + ")", Answer: encodeAnswer(a.Answer),
	}
	if a.Answer != nil {
		one.AnsweredBy, one.AnsweredAt = &a.By, &a.At
	}
	return one
}

func encodeAnswer(a *ask.Answer) *AskAnswer {
	if a == nil {
		return nil
	}
	one := AskAnswer{Outcome: AskAnswerOutcome(a.Outcome), Day: a.Day, Place: text(a.Place), Picture: text(a.Picture), Note: text(a.Note), Correction: text(a.Correction)}
	if grade, ok := a.Grade.Get(); ok {
		n := int(grade)
		one.Grade = &n
	}
	if a.Final {
		one.Final = &a.Final
	}
	return &one
}

func encodeAskEvent(e store.AskEvent) AskEvent {
	return AskEvent{
		Sequence: e.Sequence, Event: AskEventEvent(e.Event), At: e.At, Actor: e.Actor, Role: e.Role, Version: e.Version, PersonId: text(e.Person),
		NotBefore: text(e.From), Due: e.Due, Reason: e.Reason, Answer: encodeAnswer(e.Answer),
	}
}
