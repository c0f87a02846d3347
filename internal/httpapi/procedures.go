package httpapi

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"time"

	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// seen gives a case that lies in the caller's rooms.
func (h *handlers) seen(ctx context.Context, id string) (store.Case, error) {
	c, err := h.store.Case(ctx, id)
	if err != nil {
		return c, err
	}
	return c, callOf(ctx).grant.Sees(c)
}

// seenVersion gives a version, 0 for the newest, of a case that lies in the caller's rooms.
func (h *handlers) seenVersion(ctx context.Context, id string, number int) (store.Version, error) {
	if _, err := h.seen(ctx, id); err != nil {
		return store.Version{}, err
	}
	return h.store.Version(ctx, id, number)
}

// ListProcedures lists procedures in the caller's rooms, newest first.
func (h *handlers) ListProcedures(ctx context.Context, request ListProceduresRequestObject) (ListProceduresResponseObject, error) {
	p := request.Params
	limit := pageSize(p.Limit)
	if err := days(p.From, p.To); err != nil {
		return nil, err
	}
	cases, err := h.store.Cases(ctx, callOf(ctx).grant.Narrow(store.Filter{
		Room: or(p.Room), Class: or(p.Class), FlagState: string(or(p.Flag)), State: string(or(p.State)),
		From: or(p.From), To: or(p.To), KermaFrom: given[quantity.Gray](p.KermaFromGy), PeakFrom: given[quantity.Gray](p.PeakFromGy),
		Order: orderOf(string(or(p.Order))), After: or(p.After), Limit: limit + 1,
	}))
	if err != nil {
		return nil, err
	}
	cases, next := page(cases, limit, func(c store.Case) string { return c.ID })
	if err := h.viewed(ctx, "procedures.list", fmt.Sprintf("%d procedures", len(cases)), ""); err != nil {
		return nil, err
	}
	return ListProcedures200JSONResponse{Procedures: every(cases, encodeCase), Next: next}, nil
}

// orderOf gives the store's order for the contract's.
func orderOf(o string) store.Order {
	if o == string(OrderParamStart) {
		return store.ByStart
	}
	return store.Order(o)
}

// given is a parameter that may be absent.
func given[T ~float64](v *float64) quantity.Opt[T] {
	if v == nil {
		return quantity.None[T]()
	}
	return quantity.Some(T(*v))
}

// CountProcedures counts procedures in the caller's rooms.
func (h *handlers) CountProcedures(ctx context.Context, request CountProceduresRequestObject) (CountProceduresResponseObject, error) {
	p := request.Params
	if err := days(p.From, p.To); err != nil {
		return nil, err
	}
	grant := callOf(ctx).grant
	matching, err := h.store.CountCases(ctx, grant.Narrow(store.Filter{
		Room: or(p.Room), Class: or(p.Class), FlagState: string(or(p.Flag)), State: string(or(p.State)), From: or(p.From), To: or(p.To),
		KermaFrom: given[quantity.Gray](p.KermaFromGy), PeakFrom: given[quantity.Gray](p.PeakFromGy),
	}))
	if err != nil {
		return nil, err
	}
	all, err := h.store.CountCases(ctx, grant.Narrow(store.Filter{}))
	if err != nil {
		return nil, err
	}
	return CountProcedures200JSONResponse{Matching: matching, All: all}, nil
}

// days checks local days that the contract's pattern lets through.
func days(from, to *string) error {
	for _, day := range []*string{from, to} {
		if day == nil {
			continue
		}
		if _, err := time.Parse(time.DateOnly, *day); err != nil {
			return tell(store.ErrInvalid, "a day is not in the calendar; wanted is one like 2026-09-14")
		}
	}
	if from != nil && to != nil && *from > *to {
		return tell(store.ErrInvalid, "the first day is after the last")
	}
	return nil
}

// ListFlags lists flags of the newest estimates. A page holds whole procedures, so that limit counts those.
func (h *handlers) ListFlags(ctx context.Context, request ListFlagsRequestObject) (ListFlagsResponseObject, error) {
	p := request.Params
	limit := pageSize(p.Limit)
	if err := days(p.From, p.To); err != nil {
		return nil, err
	}
	state := "reached"
	if p.State != nil {
		state = string(*p.State)
	}
	flags, err := h.store.Flags(ctx, callOf(ctx).grant.Narrow(store.Filter{
		Room: or(p.Room), Class: or(p.Class), From: or(p.From), To: or(p.To), After: or(p.After), Limit: limit + 1,
	}), state)
	if err != nil {
		return nil, err
	}
	flags, next := wholeCases(flags, limit)
	if err := h.viewed(ctx, "flags.list", fmt.Sprintf("%d flags", len(flags)), ""); err != nil {
		return nil, err
	}
	return ListFlags200JSONResponse{Flags: every(flags, func(f store.CaseFlag) CaseFlag {
		return CaseFlag{Procedure: encodeCase(f.Case), Flag: encodeFlag(f.Flag)}
	}), Next: next}, nil
}

// wholeCases cuts a list of flags after limit cases.
func wholeCases(flags []store.CaseFlag, limit int) ([]store.CaseFlag, *string) {
	cases := 0
	for i, f := range flags {
		if i > 0 && f.Case.ID == flags[i-1].Case.ID {
			continue
		}
		if cases == limit {
			next := flags[i-1].Case.ID
			return flags[:i], &next
		}
		cases++
	}
	return flags, nil
}

// GetProcedure gives a procedure with its newest estimate. The ETag names that and the newest fact.
func (h *handlers) GetProcedure(ctx context.Context, request GetProcedureRequestObject) (GetProcedureResponseObject, error) {
	c, err := h.seen(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	// The tag is read before the version: what changes in between makes the tag old, never the answer.
	tag, err := h.store.Tag(ctx, c.ID)
	if err != nil {
		return nil, err
	}
	v, err := h.newest(ctx, c.ID)
	if err != nil {
		return nil, err
	}
	if err := h.viewed(ctx, "procedure.view", c.ID, v.Case.PatientID); err != nil {
		return nil, err
	}
	etag := quote(tag)
	if names(weakly(request.Params.IfNoneMatch), etag) {
		return GetProcedure304Response{Headers: GetProcedure304ResponseHeaders{ETag: &etag}}, nil
	}
	return GetProcedure200JSONResponse{
		Headers: GetProcedure200ResponseHeaders{ETag: &etag},
		Body: ProcedureDetail{
			Procedure: encodeCase(v.Case), MadeAt: v.MadeAt, Program: v.Program, Methods: v.Methods, Change: v.Change,
			Flags: every(v.Flags, encodeFlag), Assessment: json.RawMessage(v.Summary), Caution: caution,
		},
	}, nil
}

// newest gives the newest version with the columns of the same version: one made while it is read has it read again.
func (h *handlers) newest(ctx context.Context, id string) (store.Version, error) {
	for range 3 {
		v, err := h.store.Version(ctx, id, 0)
		if err != nil || v.Number == v.Case.Version {
			return v, err
		}
	}
	return store.Version{}, tell(errBusy, "new estimates of the procedure are being made")
}

// ListEstimates lists every estimate of a procedure.
func (h *handlers) ListEstimates(ctx context.Context, request ListEstimatesRequestObject) (ListEstimatesResponseObject, error) {
	c, err := h.seen(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	versions, err := h.store.Versions(ctx, c.ID)
	if err != nil {
		return nil, err
	}
	if err := h.viewed(ctx, "estimates.list", c.ID, c.PatientID); err != nil {
		return nil, err
	}
	return ListEstimates200JSONResponse{Versions: every(versions, func(v store.Version) EstimateVersion {
		return EstimateVersion{Version: v.Number, MadeAt: v.MadeAt, Program: v.Program, Methods: v.Methods, Change: v.Change, Digest: v.Digest}
	})}, nil
}

// GetEstimate gives one version as it was made. A procedure's columns are those of the newest version, so that they are
// not part of the answer.
func (h *handlers) GetEstimate(ctx context.Context, request GetEstimateRequestObject) (GetEstimateResponseObject, error) {
	v, err := h.seenVersion(ctx, request.Id, request.Version)
	if err != nil {
		return nil, err
	}
	if err := h.viewed(ctx, "estimate.view", fmt.Sprintf("%s/%d", v.Case.ID, v.Number), v.Case.PatientID); err != nil {
		return nil, err
	}
	newest := v.Number == v.Case.Version
	etag := quote(fmt.Sprintf("%d-%t-%s", v.Number, newest, v.Digest))
	if names(weakly(request.Params.IfNoneMatch), etag) {
		return GetEstimate304Response{Headers: GetEstimate304ResponseHeaders{ETag: &etag}}, nil
	}
	return GetEstimate200JSONResponse{
		Headers: GetEstimate200ResponseHeaders{ETag: &etag},
		Body: EstimateDetail{
			ProcedureId: v.Case.ID, PatientId: v.Case.PatientID, Version: v.Number, Newest: newest, MadeAt: v.MadeAt, Program: v.Program,
			Methods: v.Methods, Change: v.Change, Digest: v.Digest, Flags: every(v.Flags, encodeFlag),
			Assessment: json.RawMessage(v.Summary), Caution: caution,
		},
	}, nil
}

// ListEvents lists the irradiation events of a version.
func (h *handlers) ListEvents(ctx context.Context, request ListEventsRequestObject) (ListEventsResponseObject, error) {
	v, err := h.seenVersion(ctx, request.Id, or(request.Params.Version))
	if err != nil {
		return nil, err
	}
	events, err := h.cfg.Events(v)
	if err != nil {
		return nil, fmt.Errorf("read events of %s/%d: %w", v.Case.ID, v.Number, err)
	}
	if err := h.viewed(ctx, "events.list", fmt.Sprintf("%s/%d", v.Case.ID, v.Number), v.Case.PatientID); err != nil {
		return nil, err
	}
	return ListEvents200JSONResponse{Events: every(events, encodeEvent)}, nil
}

// GetMap gives the skin dose map of a version.
func (h *handlers) GetMap(ctx context.Context, request GetMapRequestObject) (GetMapResponseObject, error) {
	v, err := h.seenVersion(ctx, request.Id, or(request.Params.Version))
	if err != nil {
		return nil, err
	}
	if len(v.Map) == 0 {
		return nil, tell(store.ErrNotFound, "this estimate has no skin dose map; its method says why")
	}
	format := "png"
	if request.Params.Format != nil {
		format = string(*request.Params.Format)
	}
	contentType, body, err := h.cfg.Maps.Draw(ctx, v, format)
	if err != nil {
		return nil, fmt.Errorf("draw map of %s/%d: %w", v.Case.ID, v.Number, err)
	}
	if err := h.viewed(ctx, "map.view", fmt.Sprintf("%s/%d", v.Case.ID, v.Number), v.Case.PatientID); err != nil {
		return nil, err
	}
	return drawn{contentType, body}, nil
}

// drawn is a map in any of its forms.
type drawn struct {
	contentType string
	body        []byte
}

// VisitGetPatientMapResponse writes it.
func (d drawn) VisitGetPatientMapResponse(w http.ResponseWriter) error {
	return d.VisitGetMapResponse(w)
}

// VisitGetMapResponse writes it.
func (d drawn) VisitGetMapResponse(w http.ResponseWriter) error {
	w.Header().Set("Content-Type", d.contentType)
	w.WriteHeader(http.StatusOK)
	_, err := w.Write(d.body)
	return err
}

func quote(tag string) string { return `"` + tag + `"` }

// weakly takes the marks of weak tags away: If-None-Match compares without them (RFC 9110, 13.1.2), and what packs an
// answer on its way sets them.
func weakly(list *string) *string {
	if list == nil {
		return nil
	}
	plain := strings.ReplaceAll(*list, `W/"`, `"`)
	return &plain
}

// names tells whether a list of entity tags (RFC 9110, 13.1) holds one; a weak one never does.
func names(list *string, etag string) bool {
	if list == nil {
		return false
	}
	for one := range strings.SplitSeq(*list, ",") {
		if strings.TrimSpace(one) == etag {
			return true
		}
	}
	return false
}
