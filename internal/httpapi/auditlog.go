package httpapi

import (
	"cmp"
	"context"
	"errors"
	"fmt"

	"afterbeam/internal/audit"
	"afterbeam/internal/store"
)

// ListAudit lists records of the audit chain, oldest first.
func (h *handlers) ListAudit(ctx context.Context, request ListAuditRequestObject) (ListAuditResponseObject, error) {
	limit := pageSize(request.Params.Limit)
	records, err := h.store.AuditAfter(ctx, or(request.Params.After), limit+1)
	if err != nil {
		return nil, err
	}
	if after := or(request.Params.After); after > 0 && len(records) == 0 {
		// Who follows the chain asks after its end; beyond that there never was a record.
		if before, err := h.store.AuditAfter(ctx, after-1, 1); err != nil || len(before) == 0 {
			return nil, cmp.Or(err, store.ErrCursor)
		}
	}
	var next *int64
	if len(records) > limit {
		records = records[:limit]
		last := int64(records[limit-1].Sequence)
		next = &last
	}
	return ListAudit200JSONResponse{Records: every(records, encodeRecord), Next: next}, nil
}

func encodeRecord(r audit.Record) AuditRecord {
	return AuditRecord{
		Sequence: int64(r.Sequence), Time: r.Time, Actor: r.Actor, Role: r.Role, Source: r.Source, Action: r.Action, Object: r.Object,
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
