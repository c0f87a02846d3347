package httpapi

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"

	"afterbeam/internal/export/checksheet"
	"afterbeam/internal/ingest"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/physics/commission"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/devicefile"
	"afterbeam/internal/store"
)

// checked is what the interface keeps of the answers of a check, as it gives them.
type checked struct {
	Answers []CheckAnswer `json:"answers"`
	Notes   []string      `json:"notes"`
	Changes []string      `json:"changes"`
}

// ListDeviceChecks lists the checks of a device.
func (h *handlers) ListDeviceChecks(ctx context.Context, request ListDeviceChecksRequestObject) (ListDeviceChecksResponseObject, error) {
	d, err := h.seenDevice(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	checks, err := h.store.DeviceChecks(ctx, d.ID)
	if err != nil {
		return nil, err
	}
	out := ListDeviceChecks200JSONResponse{Checks: []DeviceCheck{}}
	for _, one := range checks {
		k, err := encodeCheck(one)
		if err != nil {
			return nil, err
		}
		out.Checks = append(out.Checks, k)
	}
	return out, nil
}

// CheckDevice holds a filled form against the report of its exposures.
func (h *handlers) CheckDevice(ctx context.Context, request CheckDeviceRequestObject) (CheckDeviceResponseObject, error) {
	d, err := h.seenDevice(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	record, err := commission.Read(strings.NewReader(request.Body.Form))
	if err != nil {
		return nil, tell(store.ErrInvalid, ruleOf(err))
	}
	report, err := h.reportOf(ctx, d, request.Body.ReportUid)
	if err != nil {
		return nil, err
	}
	// The tag is read before the profiles: what is signed in between makes the draft old, and is refused.
	tag, err := h.store.ProfileTag(ctx, d.ID)
	if err != nil {
		return nil, err
	}
	base, err := h.profileOn(ctx, d, record.Day)
	if err != nil {
		return nil, err
	}
	result, err := commission.Check(report, record, base)
	if errors.Is(err, commission.ErrReport) {
		return nil, tell(store.ErrInvalid, err.Error())
	}
	if err != nil {
		return nil, err
	}
	cl := callOf(ctx)
	kept := store.DeviceCheck{DeviceID: d.ID, Day: record.Day, ReportUID: result.ReportUID, Form: request.Body.Form, Maker: cl.grant.Account.Name, Reason: request.Body.Reason}
	draft, err := fill(&kept, result, base)
	if err != nil {
		return nil, err
	}
	kept, err = h.store.AddDeviceCheck(ctx, cl.actor(), kept, draft, tag)
	if errors.Is(err, store.ErrConflict) {
		return nil, tell(store.ErrConflict, "the profiles of the device changed meanwhile; check again")
	}
	if err != nil {
		return nil, err
	}
	body, err := encodeCheck(kept)
	if err != nil {
		return nil, err
	}
	place := "/v1/devices/" + d.ID + "/checks/" + kept.ID + "/sheet"
	return CheckDevice201JSONResponse{Headers: CheckDevice201ResponseHeaders{Location: &place}, Body: body}, nil
}

// ruleOf gives the rule that a text broke; what was sent stands behind it and is not told back.
func ruleOf(err error) string {
	rule, _, _ := strings.Cut(err.Error(), ", got")
	return rule
}

// reportOf reads the report of the exposures as it was kept.
func (h *handlers) reportOf(ctx context.Context, d store.Device, uid string) (*procedure.Report, error) {
	body, err := h.store.ReportOfDevice(ctx, d.Key, uid)
	if errors.Is(err, store.ErrNotFound) {
		return nil, tell(store.ErrInvalid, "report_uid names no dose report of this device that was read")
	}
	if err != nil {
		return nil, err
	}
	report, err := archive.ReadReport(body)
	return &report, err
}

// profileOn gives the signed profile of a device that holds on a day, the zero profile without one.
func (h *handlers) profileOn(ctx context.Context, d store.Device, day string) (procedure.DeviceProfile, error) {
	signed, err := h.store.SignedProfiles(ctx, d.Key)
	if err != nil {
		return procedure.DeviceProfile{}, err
	}
	var holds procedure.DeviceProfile
	for _, one := range signed { // in the order in which they come into force
		if one.From > day {
			break
		}
		if holds, err = ingest.ProfileOf(d.Key, one); err != nil {
			return holds, err
		}
	}
	return holds, nil
}

// fill writes answers and sheet into the check, and gives the draft when it differs from the profile before.
func fill(kept *store.DeviceCheck, result *commission.Result, base procedure.DeviceProfile) (*store.Profile, error) {
	sheet, err := checksheet.Of(result)
	if err != nil {
		return nil, err
	}
	var text, page bytes.Buffer
	if err := errors.Join(sheet.Text(&text), sheet.HTML(&page)); err != nil {
		return nil, err
	}
	kept.SheetText, kept.SheetPage, kept.Contradicted = text.String(), page.String(), result.Contradicted()
	answers := checked{Notes: every(sheet.Notes, plainText), Changes: every(sheet.Changes, plainText)}
	for _, a := range sheet.Answers {
		answers.Answers = append(answers.Answers, CheckAnswer{Question: a.Question, State: CheckAnswerState(a.State), Says: a.Says, Proof: a.Proof})
	}
	if kept.Answers, err = json.Marshal(answers); err != nil {
		return nil, err
	}
	before, err := devicefile.Marshal(base)
	if err != nil {
		return nil, err
	}
	draft, err := ingest.StoredProfile(result.Profile, kept.Reason)
	if err != nil || bytes.Equal(before, draft.Body) {
		return nil, err
	}
	draft.Drafter = kept.Maker
	return &draft, nil
}

func encodeCheck(k store.DeviceCheck) (DeviceCheck, error) {
	var answers checked
	if err := json.Unmarshal(k.Answers, &answers); err != nil {
		return DeviceCheck{}, fmt.Errorf("answers of check %s: %w", k.ID, err)
	}
	out := DeviceCheck{
		Id: k.ID, Day: k.Day, ReportUid: k.ReportUID, Answers: answers.Answers, Notes: answers.Notes, Changes: answers.Changes, Contradicted: k.Contradicted,
		Digest: k.Digest, MadeBy: k.Maker, MadeAt: k.MadeAt, Reason: k.Reason, Caution: checksheet.Caution,
	}
	if k.Profile > 0 {
		out.DraftVersion = &k.Profile
	}
	return out, nil
}

// GetCheckSheet gives the sheet of a check as it was made then.
func (h *handlers) GetCheckSheet(ctx context.Context, request GetCheckSheetRequestObject) (GetCheckSheetResponseObject, error) {
	d, err := h.seenDevice(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	k, err := h.store.DeviceCheck(ctx, d.ID, request.Check)
	if err != nil {
		return nil, err
	}
	if request.Params.Format != nil && *request.Params.Format == GetCheckSheetParamsFormatText {
		return printed{"text/plain; charset=utf-8", k.SheetText}, nil
	}
	return printed{"text/html; charset=utf-8", k.SheetPage}, nil
}

// printed is a sheet in one of its forms. It is for paper: a browser keeps it instead of showing it among the pages of the service.
type printed struct{ contentType, body string }

// VisitGetCheckSheetResponse writes it.
func (p printed) VisitGetCheckSheetResponse(w http.ResponseWriter) error {
	w.Header().Set("Content-Type", p.contentType)
	w.Header().Set("Content-Disposition", "attachment")
	w.WriteHeader(http.StatusOK)
	_, err := w.Write([]byte(p.body))
	return err
}
