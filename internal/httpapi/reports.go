package httpapi

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"time"

	"afterbeam/internal/ingest"
	"afterbeam/internal/store"
	"afterbeam/internal/store/object"
)

// door names this door in receipts and in the audit record.
const door = "http"

// patience is how long a report waits for its turn before the sender is told to come back.
const patience = 10 * time.Second

// KeepReport hands the body to the keeper as it comes in. It answers only when the bytes are on stable storage.
func (h *handlers) KeepReport(ctx context.Context, request KeepReportRequestObject) (KeepReportResponseObject, error) {
	cl := callOf(ctx)
	weight := cl.length
	if weight < 0 {
		weight = h.cfg.BodyLimit
	}
	release, err := h.hold(ctx, weight)
	if err != nil {
		return nil, err
	}
	defer release()
	receipt, answer, err := h.keeper.Keep(ctx, cl.actor(), door, request.Body)
	if err != nil {
		h.metrics.report("refused")
		return nil, keepKind(err)
	}
	encoded := encodeReceipt(receipt)
	location := "/v1/receipts/" + receipt.ID
	switch answer {
	case ingest.Again:
		h.metrics.report("again")
		return KeepReport200JSONResponse(encoded), nil
	case ingest.Quarantined:
		h.metrics.report("quarantined")
		return KeepReport202JSONResponse{Body: encoded, Headers: KeepReport202ResponseHeaders{Location: &location}}, nil
	default:
		h.metrics.report("stored")
		return KeepReport201JSONResponse{Body: encoded, Headers: KeepReport201ResponseHeaders{Location: &location}}, nil
	}
}

// hold waits until so many bytes of reports may be in memory: a report is held there as a whole.
func (h *handlers) hold(ctx context.Context, weight int64) (release func(), err error) {
	weight = min(weight, h.cfg.BodiesAtOnce)
	waiting, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	if err := h.bodies.Acquire(waiting, weight); err != nil {
		return nil, tell(errBusy, "too many reports are under way; try again later")
	}
	return func() { h.bodies.Release(weight) }, nil
}

// held is bytes that give their share of the memory back once they are sent.
type held struct {
	*bytes.Reader
	release func()
}

// Close gives the share back.
func (b held) Close() error {
	b.release()
	return nil
}

// keepKind gives a failure without a kind that of the storage: the bytes were not kept, so the sender must send again.
func keepKind(err error) error {
	switch {
	case errors.Is(err, errBodyEnded):
		return &told{kind: err, detail: "the body ended before it was whole"}
	case errors.Is(err, object.ErrTooLarge):
		return &told{kind: err, detail: "the report is larger than is accepted"}
	case statusOf(err) == http.StatusInternalServerError:
		return fmt.Errorf("%w: %w", store.ErrUnavailable, err)
	}
	return err
}

// GetReceipt says what became of a received object. A receipt names no patient.
func (h *handlers) GetReceipt(ctx context.Context, request GetReceiptRequestObject) (GetReceiptResponseObject, error) {
	r, err := h.store.Receipt(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	return GetReceipt200JSONResponse(encodeReceipt(r)), nil
}

// ListReceipts lists receipts of a state.
func (h *handlers) ListReceipts(ctx context.Context, request ListReceiptsRequestObject) (ListReceiptsResponseObject, error) {
	p := request.Params
	state := store.ReceiptRead
	if p.State != nil {
		state = store.ReceiptState(*p.State)
	}
	receipts, err := h.receipts(ctx, state, or(p.After), pageSize(p.Limit))
	if err != nil {
		return nil, err
	}
	return ListReceipts200JSONResponse(receipts), nil
}

// ListQuarantine lists what is kept but could not be used.
func (h *handlers) ListQuarantine(ctx context.Context, request ListQuarantineRequestObject) (ListQuarantineResponseObject, error) {
	receipts, err := h.receipts(ctx, store.ReceiptQuarantined, or(request.Params.After), pageSize(request.Params.Limit))
	if err != nil {
		return nil, err
	}
	return ListQuarantine200JSONResponse(receipts), nil
}

func (h *handlers) receipts(ctx context.Context, state store.ReceiptState, after string, limit int) (ReceiptPage, error) {
	all, err := h.store.Receipts(ctx, state, after, limit+1)
	if err != nil {
		return ReceiptPage{}, err
	}
	all, next := page(all, limit, func(r store.Receipt) string { return r.ID })
	return ReceiptPage{Receipts: every(all, encodeReceipt), Next: next}, nil
}

// GetReportFile gives the received bytes unchanged. They name the patient, so that the view is audited with the patient
// where the report was read.
func (h *handlers) GetReportFile(ctx context.Context, request GetReportFileRequestObject) (_ GetReportFileResponseObject, err error) {
	r, err := h.store.Receipt(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	patient, err := h.patientOf(ctx, r)
	if err != nil {
		return nil, err
	}
	sum, err := hex.DecodeString(r.Digest)
	if err != nil {
		return nil, fmt.Errorf("digest of receipt %s: %w", r.ID, err)
	}
	release, err := h.hold(ctx, r.Size)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			release()
		}
	}()
	raw, err := h.store.Raw(r.Digest)
	if err != nil {
		return nil, fmt.Errorf("%w: receipt %s: %w", errDamaged, r.ID, err)
	}
	if err := h.viewed(ctx, "report.download", r.ID, patient); err != nil {
		return nil, err
	}
	digest := "sha-256=:" + base64.StdEncoding.EncodeToString(sum) + ":"
	name := `attachment; filename="` + r.ID + `.dcm"`
	return GetReportFile200ApplicationdicomResponse{
		Body: held{bytes.NewReader(raw), release}, ContentLength: int64(len(raw)),
		Headers: GetReportFile200ResponseHeaders{ContentDisposition: &name, ContentDigest: &digest, ReprDigest: &digest},
	}, nil
}

// patientOf gives the patient of a receipt's report, "" before it was read.
func (h *handlers) patientOf(ctx context.Context, r store.Receipt) (string, error) {
	reports, err := h.store.ReportsOfStudy(ctx, r.StudyUID)
	if err != nil {
		return "", err
	}
	for _, one := range reports {
		if one.ReceiptID == r.ID {
			return one.PatientID, nil
		}
	}
	return "", nil
}

// RereadQuarantined asks for a quarantined object to be read once more.
func (h *handlers) RereadQuarantined(ctx context.Context, request RereadQuarantinedRequestObject) (RereadQuarantinedResponseObject, error) {
	if err := h.store.Reread(ctx, callOf(ctx).actor(), request.Id, request.Body.Reason); err != nil {
		return nil, err
	}
	return RereadQuarantined202Response{}, nil
}

// DiscardQuarantined puts a quarantined object aside.
func (h *handlers) DiscardQuarantined(ctx context.Context, request DiscardQuarantinedRequestObject) (DiscardQuarantinedResponseObject, error) {
	if err := h.store.Discard(ctx, callOf(ctx).actor(), request.Id, request.Body.Reason); err != nil {
		return nil, err
	}
	return DiscardQuarantined204Response{}, nil
}

// viewed writes a view to the audit record; what it is for is answered only after that.
func (h *handlers) viewed(ctx context.Context, action, what, patient string) error {
	return h.store.Viewed(ctx, callOf(ctx).actor(), action, what, patient)
}
