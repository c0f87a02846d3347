package httpapi

import (
	"context"
	"strings"
	"time"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/ingest"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// inForce gives the levels by which procedures are flagged now, and their version, 0 for those of the settings.
func (h *handlers) inForce(ctx context.Context) (level.Set, int, error) {
	sets, err := h.store.LevelSets(ctx)
	if err != nil {
		return level.Set{}, 0, err
	}
	for _, s := range sets {
		if s.State == store.LevelsInForce {
			return s.Set, s.Version, nil
		}
	}
	return h.cfg.Levels, 0, nil
}

// GetLevels gives the levels in force beside the published ones.
func (h *handlers) GetLevels(ctx context.Context, _ GetLevelsRequestObject) (GetLevelsResponseObject, error) {
	set, version, err := h.inForce(ctx)
	if err != nil {
		return nil, err
	}
	answer := GetLevels200JSONResponse{
		From: LevelsInForceFromSettings, PlainKap: set.PlainKAP, Rows: every(set.Rows, encodeLevel), Published: every(level.Default().Rows, encodeLevel),
	}
	if version > 0 {
		answer.From, answer.Version = LevelsInForceFromLevelSet, &version
	}
	return answer, nil
}

// ListLevelSets lists the versions of the site's levels.
func (h *handlers) ListLevelSets(ctx context.Context, _ ListLevelSetsRequestObject) (ListLevelSetsResponseObject, error) {
	sets, err := h.store.LevelSets(ctx)
	if err != nil {
		return nil, err
	}
	return ListLevelSets200JSONResponse{Sets: every(sets, encodeLevelSet)}, nil
}

// GetLevelSet gives a version.
func (h *handlers) GetLevelSet(ctx context.Context, request GetLevelSetRequestObject) (GetLevelSetResponseObject, error) {
	s, err := h.store.LevelSet(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	return GetLevelSet200JSONResponse(encodeLevelSet(s)), nil
}

// DraftLevels keeps a proposal.
func (h *handlers) DraftLevels(ctx context.Context, request DraftLevelsRequestObject) (DraftLevelsResponseObject, error) {
	set := level.Set{PlainKAP: or(request.Body.PlainKap)}
	for _, row := range request.Body.Rows {
		for _, class := range or(row.Classes) {
			if !h.cfg.KnownClass(class) {
				return nil, tell(store.ErrInvalid, "property classes names no procedure class")
			}
		}
		set.Rows = append(set.Rows, decodeLevel(row))
	}
	s, err := h.store.DraftLevels(ctx, callOf(ctx).actor(), set, request.Body.Reason)
	if err != nil {
		return nil, toldOf(err)
	}
	return DraftLevels201JSONResponse(encodeLevelSet(s)), nil
}

// ApproveLevels puts a draft in force.
func (h *handlers) ApproveLevels(ctx context.Context, request ApproveLevelsRequestObject) (ApproveLevelsResponseObject, error) {
	s, asked, err := h.store.ApproveLevels(ctx, callOf(ctx).actor(), request.Id, request.Body.Reason)
	if err != nil {
		return nil, toldOf(err)
	}
	return ApproveLevels200JSONResponse{LevelSet: encodeLevelSet(s), Recomputation: encodeRecomputation(asked)}, nil
}

// WithdrawLevels ends a draft.
func (h *handlers) WithdrawLevels(ctx context.Context, request WithdrawLevelsRequestObject) (WithdrawLevelsResponseObject, error) {
	s, err := h.store.WithdrawLevels(ctx, callOf(ctx).actor(), request.Id, request.Body.Reason)
	if err != nil {
		return nil, toldOf(err)
	}
	return WithdrawLevels200JSONResponse(encodeLevelSet(s)), nil
}

// mostDifferences bounds the list of a preview.
const mostDifferences = 500

// PreviewLevels says what a version would have flagged.
func (h *handlers) PreviewLevels(ctx context.Context, request PreviewLevelsRequestObject) (PreviewLevelsResponseObject, error) {
	s, err := h.store.LevelSet(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	now, _, err := h.inForce(ctx)
	if err != nil {
		return nil, err
	}
	to := h.store.Today()
	end, err := time.Parse(time.DateOnly, to)
	if err != nil {
		return nil, err
	}
	from := end.AddDate(-1, 0, 0)
	cases, err := h.store.Cases(ctx, store.Filter{From: from.AddDate(0, 0, -60).Format(time.DateOnly), To: to})
	if err != nil {
		return nil, err
	}
	survivors, err := h.store.Survivors(ctx)
	if err != nil {
		return nil, err
	}
	looked := make([]assessment.Previewed, len(cases))
	for i, c := range cases {
		looked[i] = assessment.Previewed{ID: c.ID, Patient: c.PatientID, Delivered: ingest.Delivered(c)}
		if other, linked := survivors[c.PatientID]; linked {
			looked[i].Patient = other
		}
	}
	p := assessment.PreviewLevels(now, s.Set, looked, from.Format(time.DateOnly))
	if err := h.viewed(ctx, "levels.preview", s.ID, ""); err != nil {
		return nil, err
	}
	answer := PreviewLevels200JSONResponse{
		From: from.Format(time.DateOnly), To: to, Procedures: p.Cases, Differing: len(p.Differ),
		Method: "each procedure with its newest numbers, alone and with those of its patient in the 60 days before, whose peaks are added as an upper bound; ages are not looked at",
	}
	for state := level.Reached; state <= level.NoFlag; state++ {
		answer.Counts = append(answer.Counts, LevelCount{State: LevelCountState(state.String()), Before: p.Before[state], After: p.After[state]})
	}
	answer.Differences = every(p.Differ[:min(len(p.Differ), mostDifferences)], encodePreviewed)
	return answer, nil
}

func encodeLevelSet(s store.LevelSet) LevelSet {
	return LevelSet{
		Id: s.ID, Version: s.Version, State: LevelSetState(s.State), PlainKap: s.PlainKAP, Reason: s.Reason, Author: s.Author, MadeAt: s.MadeAt,
		DecidedBy: text(s.DecidedBy), DecidedAt: moment(s.DecidedAt), DecidedReason: s.DecidedReason, RecomputationId: text(s.Recomputation),
		Rows: every(s.Rows, encodeLevel),
	}
}

func encodeLevel(r level.Row) LevelRow {
	row := LevelRow{
		Scheme: r.Scheme, Title: r.Title, Id: r.ID, Meaning: r.Meaning, Quantity: LevelRowQuantity(r.Quantity), On: r.On, Text: r.Text, Source: r.Source, Known: r.Known,
		AgeFrom: number(r.Rule.AgeFrom, plain), AgeBelow: number(r.Rule.AgeBelow, plain),
	}
	_, size := r.Quantity.Unit()
	inUnit := func(v float64) *float64 {
		if v == 0 {
			return nil
		}
		v /= size
		return &v
	}
	row.Value, row.Step = inUnit(r.Value), inUnit(r.Step)
	if classes := strings.Fields(r.Rule.Classes); len(classes) > 0 {
		row.Classes = &classes
	}
	if r.Rule.Pregnant {
		row.Pregnant = &r.Rule.Pregnant
	}
	return row
}

func decodeLevel(row LevelRow) level.Row {
	r := level.Row{
		Scheme: row.Scheme, Title: row.Title, ID: row.Id, Meaning: row.Meaning, Quantity: level.Quantity(row.Quantity), On: row.On, Text: row.Text,
		Source: row.Source, Known: row.Known, Rule: level.Rule{Classes: strings.Join(or(row.Classes), " "), Pregnant: or(row.Pregnant)},
	}
	_, size := r.Quantity.Unit()
	r.Value, r.Step = or(row.Value)*size, or(row.Step)*size
	if row.AgeFrom != nil {
		r.Rule.AgeFrom = quantity.Some(*row.AgeFrom)
	}
	if row.AgeBelow != nil {
		r.Rule.AgeBelow = quantity.Some(*row.AgeBelow)
	}
	return r
}
