package httpapi

import (
	"context"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/ingest/naming"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/store"
)

// GetLexicon gives the lexicon in force.
func (h *handlers) GetLexicon(ctx context.Context, _ GetLexiconRequestObject) (GetLexiconResponseObject, error) {
	version, rows, err := h.store.LexiconInForce(ctx)
	if err != nil {
		return nil, err
	}
	answer := GetLexicon200JSONResponse{Version: version, Rows: every(rows, encodeWord), Table: every(h.cfg.Lexicon.Rows(), encodeWord)}
	for _, c := range lexicon.Classes() {
		if c.ID != lexicon.Unclassified {
			answer.Classes = append(answer.Classes, ProcedureClass{Id: c.ID, Title: c.Title})
		}
	}
	return answer, nil
}

// ListUnmappedNames lists what the lexicon does not know.
func (h *handlers) ListUnmappedNames(ctx context.Context, request ListUnmappedNamesRequestObject) (ListUnmappedNamesResponseObject, error) {
	l, err := naming.Unmapped(ctx, h.store, h.cfg.Lexicon)
	if err != nil {
		return nil, err
	}
	return ListUnmappedNames200JSONResponse{
		From: l.From, To: l.To, Procedures: l.Procedures, Last12Months: l.Recent, ClassGiven: l.Given, Nameless: l.Nameless, Unread: l.Unread,
		Distinct: len(l.Names), Names: every(l.Names[:min(len(l.Names), pageSize(request.Params.Limit))], encodeUnmapped),
	}, nil
}

// ListLexiconVersions lists the versions of the site.
func (h *handlers) ListLexiconVersions(ctx context.Context, _ ListLexiconVersionsRequestObject) (ListLexiconVersionsResponseObject, error) {
	all, err := h.store.LexiconVersions(ctx)
	if err != nil {
		return nil, err
	}
	return ListLexiconVersions200JSONResponse{Versions: every(all, encodeLexicon)}, nil
}

// GetLexiconVersion gives a version.
func (h *handlers) GetLexiconVersion(ctx context.Context, request GetLexiconVersionRequestObject) (GetLexiconVersionResponseObject, error) {
	l, err := h.store.LexiconVersion(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	return GetLexiconVersion200JSONResponse(encodeLexicon(l)), nil
}

// DraftLexicon keeps a proposal.
func (h *handlers) DraftLexicon(ctx context.Context, request DraftLexiconRequestObject) (DraftLexiconResponseObject, error) {
	rows := every(request.Body.Rows, func(r LexiconRow) lexicon.Row {
		return lexicon.Row{Kind: lexicon.Kind(r.Kind), Match: r.Match, Class: r.Class, Complexity: string(r.Complexity)}
	})
	l, err := h.store.DraftLexicon(ctx, callOf(ctx).actor(), request.Body.Base, rows, request.Body.Reason)
	if err != nil {
		return nil, toldOf(err)
	}
	return DraftLexicon201JSONResponse(encodeLexicon(l)), nil
}

// PublishLexicon puts a draft in force.
func (h *handlers) PublishLexicon(ctx context.Context, request PublishLexiconRequestObject) (PublishLexiconResponseObject, error) {
	l, asked, err := h.store.PublishLexicon(ctx, callOf(ctx).actor(), request.Id, request.Body.Reason, h.cfg.Lexicon)
	if err != nil {
		return nil, toldOf(err)
	}
	return PublishLexicon200JSONResponse{Lexicon: encodeLexicon(l), Recomputation: encodeRecomputation(asked)}, nil
}

// WithdrawLexicon ends a draft.
func (h *handlers) WithdrawLexicon(ctx context.Context, request WithdrawLexiconRequestObject) (WithdrawLexiconResponseObject, error) {
	l, err := h.store.WithdrawLexicon(ctx, callOf(ctx).actor(), request.Id, request.Body.Reason)
	if err != nil {
		return nil, toldOf(err)
	}
	return WithdrawLexicon200JSONResponse(encodeLexicon(l)), nil
}

// PreviewLexicon says what a version would class otherwise.
func (h *handlers) PreviewLexicon(ctx context.Context, request PreviewLexiconRequestObject) (PreviewLexiconResponseObject, error) {
	version, err := h.store.LexiconVersion(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	levels, _, err := h.inForce(ctx)
	if err != nil {
		return nil, err
	}
	l, err := naming.Look(ctx, h.store, h.cfg.Lexicon, levels, version.Rows)
	if err != nil {
		return nil, err
	}
	if err := h.viewed(ctx, "lexicon.preview", version.ID, ""); err != nil {
		return nil, err
	}
	return PreviewLexicon200JSONResponse{
		From: l.From, To: l.To, Procedures: l.Procedures, ClassGiven: l.Given, Unread: l.Unread, Moving: len(l.Moved),
		Moves: every(l.Moves, func(m naming.Moves) LexiconMove {
			return LexiconMove{From: ClassKind(m.From), To: ClassKind(m.To), Procedures: m.Procedures, Last12Months: m.Recent}
		}),
		Moved: every(l.Moved[:min(len(l.Moved), mostDifferences)], func(m naming.Moved) MovedProcedure {
			return MovedProcedure{ProcedureId: m.ID, LocalDate: text(m.Day), From: ClassKind(m.From), To: ClassKind(m.To)}
		}),
		LevelsByClass: l.ByClass, FlaggedOtherwise: len(l.Flags), Differences: every(l.Flags[:min(len(l.Flags), mostDifferences)], encodePreviewed), Method: naming.Method,
	}, nil
}

func encodePreviewed(d assessment.PreviewDifference) LevelDifference {
	same := func(s string) string { return s }
	return LevelDifference{ProcedureId: d.ID, Before: d.Before.String(), After: d.After.String(), Gained: every(d.Gained, same), Lost: every(d.Lost, same)}
}

func encodeWord(r lexicon.Row) LexiconRow {
	return LexiconRow{Kind: LexiconRowKind(r.Kind), Match: r.Match, Class: r.Class, Complexity: LexiconRowComplexity(r.Complexity)}
}

func encodeUnmapped(n naming.Name) UnmappedName {
	return UnmappedName{
		Kind: UnmappedNameKind(n.Kind), Match: n.Match, Title: n.Title, Procedures: n.Procedures, Last12Months: n.Recent, LastDay: text(n.LastDay),
	}
}

func encodeLexicon(l store.LexiconVersion) LexiconVersion {
	return LexiconVersion{
		Id: l.ID, Version: l.Version, Base: l.Base, State: LexiconVersionState(l.State), Reason: l.Reason, Author: l.Author, MadeAt: l.MadeAt,
		DecidedBy: text(l.DecidedBy), DecidedAt: moment(l.DecidedAt), DecidedReason: l.DecidedReason, RecomputationId: text(l.Recomputation),
		Rows: every(l.Rows, encodeWord),
	}
}
