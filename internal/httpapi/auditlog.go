package httpapi

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/store"
)

// ListAudit lists records of the audit chain.
func (h *handlers) ListAudit(ctx context.Context, request ListAuditRequestObject) (ListAuditResponseObject, error) {
	p := request.Params
	limit := pageSize(p.Limit)
	names, err := h.accountNames(ctx)
	if err != nil {
		return nil, err
	}
	f, err := h.auditFilter(p, names)
	if err != nil {
		return nil, err
	}
	f.Limit = limit + 1
	records, err := h.store.Audit(ctx, f)
	if err != nil {
		return nil, err
	}
	if after := or(p.After); after > 0 && len(records) == 0 {
		// Who follows the chain asks after its end; beyond that there never was a record.
		if before, err := h.store.Audit(ctx, store.AuditFilter{After: after - 1, Limit: 1}); err != nil || len(before) == 0 {
			return nil, cmp.Or(err, store.ErrCursor)
		}
	}
	var next *int64
	if len(records) > limit {
		records = records[:limit]
		last := int64(records[limit-1].Sequence)
		next = &last
	}
	return ListAudit200JSONResponse{Records: every(records, func(r audit.Record) AuditRecord { return encodeRecord(r, names) }), Next: next}, nil
}

// accountNames gives the names of all accounts, by their ids.
func (h *handlers) accountNames(ctx context.Context) (map[string]string, error) {
	accounts, err := h.store.Accounts(ctx)
	names := make(map[string]string, len(accounts))
	for _, a := range accounts {
		names[a.ID] = a.Name
	}
	return names, err
}

// auditFilter reads what a list is narrowed to. Days are those of the site.
func (h *handlers) auditFilter(p ListAuditParams, names map[string]string) (store.AuditFilter, error) {
	f := store.AuditFilter{After: or(p.After), Newest: or(p.Newest), Action: or(p.Action), Object: or(p.Object), Patient: or(p.Patient), Outcome: or(p.Outcome)}
	if who := or(p.Actor); who != "" {
		f.Actors = []string{who}
		for _, id := range slices.Sorted(maps.Keys(names)) {
			if strings.EqualFold(names[id], who) {
				f.Actors = append(f.Actors, id)
			}
		}
	}
	if err := days(p.From, p.To); err != nil {
		return f, err
	}
	site := cmp.Or(h.cfg.Site, time.UTC)
	var err error
	if p.From != nil {
		f.From, err = time.ParseInLocation(time.DateOnly, *p.From, site)
	}
	if p.To != nil && err == nil {
		f.Before, err = time.ParseInLocation(time.DateOnly, *p.To, site)
		f.Before = f.Before.AddDate(0, 0, 1)
	}
	return f, err
}

func encodeRecord(r audit.Record, names map[string]string) AuditRecord {
	return AuditRecord{
		Sequence: int64(r.Sequence), Time: r.Time, Actor: r.Actor, ActorName: names[r.Actor], Role: r.Role, Source: r.Source, Action: r.Action, Object: r.Object,
		Patient: r.Patient, Outcome: r.Outcome, Reason: r.Reason, Hash: r.Hash,
	}
}

// VerifyAudit walks the whole chain and checks it against the anchor beside the database. One walk runs at a time.
func (h *handlers) VerifyAudit(ctx context.Context, _ VerifyAuditRequestObject) (VerifyAuditResponseObject, error) {
	if !h.auditing.TryLock() {
		return nil, tell(errBusy, "the audit chain is being checked already")
	}
	defer h.auditing.Unlock()
	anchor, err := h.store.ReadAnchor("")
	if err != nil {
		return nil, err
	}
	head, err := audit.Verify(h.store.AuditRecords(ctx), anchor)
	found := AuditVerification{Sound: err == nil, Records: int64(head.Sequence)}
	switch {
	case errors.Is(err, audit.ErrBroken):
		found.Detail = err.Error()
	case err != nil:
		return nil, err
	case anchor == nil:
		found.Detail = "every record follows the one before it; there is no anchor yet"
	default:
		found.Detail = fmt.Sprintf("every record follows the one before it; the anchor is record %d", anchor.Sequence)
	}
	return VerifyAudit200JSONResponse(found), nil
}

// GetHealth tells that the process runs.
func (h *handlers) GetHealth(context.Context, GetHealthRequestObject) (GetHealthResponseObject, error) {
	return GetHealth204Response{}, nil
}

// GetReadiness tells whether reports can be kept now. Why not stays in the log.
func (h *handlers) GetReadiness(ctx context.Context, _ GetReadinessRequestObject) (GetReadinessResponseObject, error) {
	if err := h.store.Ready(ctx); err != nil {
		h.cfg.Logger.ErrorContext(ctx, "not ready", "request_id", callOf(ctx).id, "error", err.Error())
		return GetReadiness503Response{}, nil
	}
	return GetReadiness204Response{}, nil
}
