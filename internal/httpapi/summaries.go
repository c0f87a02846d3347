package httpapi

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"

	"afterbeam/internal/access"
	"afterbeam/internal/export/monthfile"
	"afterbeam/internal/export/monthly"
	"afterbeam/internal/export/paperpdf"
	"afterbeam/internal/followup/completeness"
	"afterbeam/internal/store"
	"afterbeam/internal/summary"
)

// GetSummary sums a period up.
func (h *handlers) GetSummary(ctx context.Context, request GetSummaryRequestObject) (GetSummaryResponseObject, error) {
	grant, p := callOf(ctx).grant, request.Params
	names := p.Operators != nil && *p.Operators == GetSummaryParamsOperatorsNames
	switch {
	case names && grant.Role != access.Physicist:
		return nil, tell(access.ErrForbidden, "the names of operators are for physicists")
	case names && or(p.Leaving):
		return nil, tell(store.ErrInvalid, "what leaves the department names no operator")
	case grant.Account.OwnCases:
		return nil, tell(access.ErrForbidden, "an account that sees its own cases alone has no summary")
	}
	made, err := h.summary(ctx, request.Period, summary.Filter{Class: or(p.Class), Room: or(p.Room), Device: or(p.Device), Rooms: grant.Account.Rooms}, names)
	if err != nil {
		return nil, err
	}
	switch {
	case or(p.Leaving):
		made = summary.Leaving(made)
	case grant.Role == access.Operator:
		actions := made.Actions
		made = summary.Leaving(made)
		made.Actions = actions
	}
	what := fmt.Sprintf("%s, %d cases", made.Period.Name, made.Counts.Cases)
	if names {
		what += ", operators by name"
	}
	if err := h.viewed(ctx, "summary.view", what, ""); err != nil {
		return nil, err
	}
	form := monthfile.JSON
	if p.Format != nil {
		form = monthfile.Form(*p.Format)
	}
	return h.summaryFile(made, form, p)
}

// summaryFile gives a summary in the form that was asked for.
func (h *handlers) summaryFile(made summary.Summary, form monthfile.Form, p GetSummaryParams) (GetSummaryResponseObject, error) {
	if form == monthfile.JSON {
		return summaryAnswer{made}, nil
	}
	how := monthfile.Made{
		At: h.cfg.Now(), Zone: h.cfg.Site, Program: h.cfg.Version, Centre: h.cfg.Centre, Department: h.cfg.Department, Notice: h.cfg.Notice, Language: "en", Size: paperpdf.A4,
	}
	if p.Language != nil {
		how.Language = string(*p.Language)
	}
	if p.Size != nil {
		how.Size = paperpdf.Size(*p.Size)
	}
	file := summaryFile{media: form.Media(), name: form.Name(made.Period)}
	if err := monthfile.Write(&file.body, form, made, how); err != nil {
		return nil, fmt.Errorf("write summary of %s: %w", made.Period.Name, err)
	}
	return &file, nil
}

// summaryFile is a summary as a file.
type summaryFile struct {
	media, name string
	body        bytes.Buffer
}

// VisitGetSummaryResponse writes it.
func (f *summaryFile) VisitGetSummaryResponse(w http.ResponseWriter) error {
	h := w.Header()
	h.Set("Content-Type", f.media)
	h.Set("Content-Length", strconv.Itoa(f.body.Len()))
	h.Set("Content-Disposition", `attachment; filename="`+f.name+`"`)
	w.WriteHeader(http.StatusOK)
	_, err := f.body.WriteTo(w)
	return err
}

// summary makes the summary of a period that the contract names.
func (h *handlers) summary(ctx context.Context, name string, f summary.Filter, operatorNames bool) (summary.Summary, error) {
	period, err := summary.ParsePeriod(name)
	if err != nil {
		return summary.Summary{}, tell(store.ErrInvalid, err.Error())
	}
	return monthly.Make(ctx, h.store, monthly.Ask{
		Period: period, Filter: f, OperatorNames: operatorNames, Settings: summary.DefaultSettings(),
		Rules: completeness.Rules{Window: h.cfg.MatchWindow, Grace: h.cfg.Grace, Now: h.cfg.Now()},
	})
}

// summaryAnswer is a summary as JSON.
type summaryAnswer struct{ summary.Summary }

// VisitGetSummaryResponse writes it.
func (a summaryAnswer) VisitGetSummaryResponse(w http.ResponseWriter) error {
	body, err := json.Marshal(a.Summary)
	if err != nil {
		return fmt.Errorf("encode summary of %s: %w", a.Period.Name, err)
	}
	w.Header().Set("Content-Type", mediaJSON)
	w.WriteHeader(http.StatusOK)
	_, err = w.Write(body)
	return err
}

// ListCaseReviews lists what colleagues found.
func (h *handlers) ListCaseReviews(ctx context.Context, request ListCaseReviewsRequestObject) (ListCaseReviewsResponseObject, error) {
	c, err := h.seen(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	found, err := h.store.PeerReviews(ctx, c.ID)
	if err != nil {
		return nil, err
	}
	if err := h.viewed(ctx, "case-reviews.list", c.ID, c.PatientID); err != nil {
		return nil, err
	}
	return ListCaseReviews200JSONResponse{Reviews: every(found, encodeReviewOfCase)}, nil
}

// ReviewCase keeps what a colleague found.
func (h *handlers) ReviewCase(ctx context.Context, request ReviewCaseRequestObject) (ReviewCaseResponseObject, error) {
	c, err := h.seen(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	v, err := h.store.ReviewCase(ctx, callOf(ctx).actor(), c.ID, request.Body.Version, summary.ReviewState(request.Body.State), request.Body.Reason)
	if err != nil {
		return nil, toldOf(err)
	}
	return ReviewCase201JSONResponse(encodeReviewOfCase(v)), nil
}

func encodeReviewOfCase(v store.PeerReview) CaseReview {
	return CaseReview{
		ProcedureId: v.CaseID, Sequence: v.Sequence, State: CaseReviewState(v.State), Reason: v.Reason, Version: v.Version, Author: v.Author, Role: v.Role,
		Day: v.Day, MadeAt: v.MadeAt,
	}
}

// ListBaselines lists the frozen baselines.
func (h *handlers) ListBaselines(ctx context.Context, _ ListBaselinesRequestObject) (ListBaselinesResponseObject, error) {
	all, err := h.store.Baselines(ctx)
	if err != nil {
		return nil, err
	}
	return ListBaselines200JSONResponse{Baselines: every(all, encodeBaseline)}, nil
}

// FreezeBaseline keeps the baseline that a chart of the whole site proposes.
func (h *handlers) FreezeBaseline(ctx context.Context, request FreezeBaselineRequestObject) (FreezeBaselineResponseObject, error) {
	made, err := h.summary(ctx, request.Body.Period, summary.Filter{}, false)
	if err != nil {
		return nil, err
	}
	for _, chart := range made.Charts {
		if chart.Key != request.Body.Chart {
			continue
		}
		if chart.Baseline == nil {
			return nil, tell(store.ErrConflict, "the chart has too few points for a baseline")
		}
		kept, err := h.store.FreezeBaseline(ctx, callOf(ctx).actor(), *chart.Baseline, request.Body.Reason)
		if err != nil {
			return nil, toldOf(err)
		}
		return FreezeBaseline201JSONResponse(encodeBaseline(kept)), nil
	}
	return nil, tell(store.ErrInvalid, "no chart of that key in the summary of the period")
}

// EndBaseline ends a frozen baseline.
func (h *handlers) EndBaseline(ctx context.Context, request EndBaselineRequestObject) (EndBaselineResponseObject, error) {
	if err := h.store.EndBaseline(ctx, callOf(ctx).actor(), request.Body.Chart, request.Body.Reason); err != nil {
		return nil, toldOf(err)
	}
	return EndBaseline204Response{}, nil
}

func encodeBaseline(b store.FrozenBaseline) ChartBaseline {
	return ChartBaseline{
		Id: b.ID, Chart: b.Key, Kind: ChartBaselineKind(b.Kind), From: b.From, To: b.To, N: b.N, Centre: b.Centre, MovingRange: b.MovingRange,
		FrozenOn: b.FrozenOn, FrozenBy: b.FrozenBy, Reason: b.Reason,
	}
}
