package httpapi

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"afterbeam/internal/store"
)

// seenPatient gives a patient of whom the caller may see a case.
func (h *handlers) seenPatient(ctx context.Context, id string) (store.Patient, error) {
	p, err := h.store.Patient(ctx, id)
	if err != nil {
		return p, err
	}
	all, err := h.store.CasesOfPatient(ctx, id)
	if err != nil {
		return p, err
	}
	_, err = callOf(ctx).grant.SeesAny(all)
	return p, err
}

// seenCases gives all cases of a patient of whom the caller may see one, and those that the caller may see.
func (h *handlers) seenCases(ctx context.Context, patient string) (all, seen []store.Case, err error) {
	if all, err = h.store.CasesOfPatient(ctx, patient); err != nil {
		return nil, nil, err
	}
	if len(all) == 0 {
		// A patient without a case is still one.
		if _, err = h.store.Patient(ctx, patient); err != nil {
			return nil, nil, err
		}
	}
	seen, err = callOf(ctx).grant.SeesAny(all)
	return all, seen, err
}

// SearchPatients finds patients by number and issuer, which come in the body. Those without a case in the caller's rooms
// are left out.
func (h *handlers) SearchPatients(ctx context.Context, request SearchPatientsRequestObject) (SearchPatientsResponseObject, error) {
	// Spaces around a DICOM text mean nothing (PS3.5, 6.2), and copying from a screen adds them.
	number := strings.TrimSpace(request.Body.Number)
	if number == "" {
		return nil, tell(store.ErrInvalid, "property number does not fit: wanted the patient's number, got spaces")
	}
	found, err := h.store.FindPatients(ctx, number, strings.TrimSpace(or(request.Body.Issuer)))
	if err != nil {
		return nil, err
	}
	shown := []Patient{}
	for _, p := range found {
		cases, err := h.store.CasesOfPatient(ctx, p.ID)
		if err != nil {
			return nil, err
		}
		_, err = callOf(ctx).grant.SeesAny(cases)
		if errors.Is(err, store.ErrNotFound) {
			continue
		}
		if err != nil {
			return nil, err
		}
		if err := h.viewed(ctx, "patient.find", p.ID, p.ID); err != nil {
			return nil, err
		}
		one := encodePatient(p)
		if one.IdentityReviews, err = h.identityReviews(ctx, p.ID); err != nil {
			return nil, err
		}
		shown = append(shown, one)
	}
	if len(shown) == 0 {
		if err := h.viewed(ctx, "patient.find", "0 patients", ""); err != nil {
			return nil, err
		}
	}
	return SearchPatients200JSONResponse{Patients: shown}, nil
}

// GetPatient gives a patient record.
func (h *handlers) GetPatient(ctx context.Context, request GetPatientRequestObject) (GetPatientResponseObject, error) {
	p, err := h.seenPatient(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	if err := h.viewed(ctx, "patient.view", p.ID, p.ID); err != nil {
		return nil, err
	}
	one := encodePatient(p)
	if one.IdentityReviews, err = h.identityReviews(ctx, p.ID); err != nil {
		return nil, err
	}
	return GetPatient200JSONResponse(one), nil
}

// GetPatientDose gives what a patient and the records linked to it received. The windows hold every procedure, also
// those in rooms the caller does not see: a sum without them would say less than the skin received. The list holds those
// the caller sees, and elsewhere counts the others.
func (h *handlers) GetPatientDose(ctx context.Context, request GetPatientDoseRequestObject) (GetPatientDoseResponseObject, error) {
	if err := days(nil, request.Params.AsOf); err != nil {
		return nil, err
	}
	// What an account that sees every room is told of all time is the same for each of them.
	shared := request.Params.AsOf == nil && callOf(ctx).grant.SeesAll()
	age := h.store.DosesAge()
	body, found := h.doses.get(request.Id, age)
	if !shared || !found {
		answer, err := h.dose(ctx, request)
		if err != nil {
			return nil, err
		}
		if body, err = json.Marshal(answer); err != nil {
			return nil, err
		}
		// Without a date the windows end today.
		if shared && slices.ContainsFunc(answer.Procedures, func(p Procedure) bool { return p.LocalDate != nil }) {
			h.doses.keep(request.Id, age, body)
		}
	}
	if err := h.viewed(ctx, "dose.view", request.Id, request.Id); err != nil {
		return nil, err
	}
	return doseAnswer{body}, nil
}

// dose sums up what a patient received, for the caller.
func (h *handlers) dose(ctx context.Context, request GetPatientDoseRequestObject) (CumulativeDose, error) {
	var none CumulativeDose
	all, seen, err := h.seenCases(ctx, request.Id)
	if err != nil {
		return none, err
	}
	asOf := or(request.Params.AsOf)
	if asOf == "" {
		asOf = newestDay(all, h.cfg.Now())
	}
	windows, err := h.cfg.Windows.Sums(ctx, all, asOf)
	if err != nil {
		return none, fmt.Errorf("sum windows of %s: %w", request.Id, err)
	}
	reviews, err := h.identityReviews(ctx, request.Id)
	if err != nil {
		return none, err
	}
	lacking, err := h.store.Unassessed(ctx, request.Id)
	if err != nil {
		return none, err
	}
	visible := map[string]bool{}
	for _, c := range seen {
		visible[c.ID] = true
	}
	everywhere := callOf(ctx).grant.SeesAll()
	return CumulativeDose{
		IdentityReviews: reviews,
		WithoutAssessment: every(lacking, func(u store.Unassessed) UnassessedProcedure {
			return encodeUnassessed(u, everywhere || visible[u.CaseID])
		}),
		PatientId: request.Id, AsOf: asOf, Procedures: every(seen, encodeCase), Elsewhere: len(all) - len(seen),
		Windows: every(windows, func(w WindowSum) Window { return encodeWindow(w, visible) }), LatestMap: latestMap(seen), Caution: caution,
	}, nil
}

// identityReviews gives the open reviews about who a patient is, as the contract has them.
func (h *handlers) identityReviews(ctx context.Context, patient string) ([]string, error) {
	reviews, err := h.store.IdentityReviews(ctx, patient)
	return append([]string{}, reviews...), err
}

// newestDay gives the local day of the newest case, or today's where there is none.
func newestDay(cases []store.Case, now time.Time) string {
	newest := ""
	for _, c := range cases {
		newest = max(newest, c.LocalDate)
	}
	if newest == "" {
		newest = now.UTC().Format(time.DateOnly)
	}
	return newest
}

// latestMap gives the path of the newest map among cases in order of time, nil when none has one.
func latestMap(cases []store.Case) *string {
	for _, c := range slices.Backward(cases) {
		if c.HasMap {
			path := "/v1/procedures/" + c.ID + "/map"
			return &path
		}
	}
	return nil
}

// ListLinks lists the links of a patient's group.
func (h *handlers) ListLinks(ctx context.Context, request ListLinksRequestObject) (ListLinksResponseObject, error) {
	p, err := h.seenPatient(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	links, err := h.store.Links(ctx, p.ID)
	if err != nil {
		return nil, err
	}
	if err := h.viewed(ctx, "links.list", p.ID, p.ID); err != nil {
		return nil, err
	}
	return ListLinks200JSONResponse{Links: every(links, encodeLink)}, nil
}

// LinkPatients says that another record is this patient.
func (h *handlers) LinkPatients(ctx context.Context, request LinkPatientsRequestObject) (LinkPatientsResponseObject, error) {
	if request.Body.OtherPatient == request.Id {
		return nil, tell(store.ErrInvalid, "a record is not linked to itself")
	}
	l, err := h.store.LinkPatients(ctx, callOf(ctx).actor(), request.Body.OtherPatient, request.Id, request.Body.Reason)
	if errors.Is(err, store.ErrConflict) {
		return nil, tell(store.ErrConflict, "the two records are linked already, directly or through others")
	}
	if err != nil {
		return nil, err
	}
	return LinkPatients201JSONResponse(encodeLink(l)), nil
}

// UnlinkPatients takes a link back.
func (h *handlers) UnlinkPatients(ctx context.Context, request UnlinkPatientsRequestObject) (UnlinkPatientsResponseObject, error) {
	if err := h.store.UnlinkPatients(ctx, callOf(ctx).actor(), request.Id, request.Body.Reason); err != nil {
		return nil, err
	}
	return UnlinkPatients204Response{}, nil
}

// ListReviews lists what waits for a person to look at the identity.
func (h *handlers) ListReviews(ctx context.Context, request ListReviewsRequestObject) (ListReviewsResponseObject, error) {
	limit := pageSize(request.Params.Limit)
	reviews, err := h.store.Reviews(ctx, or(request.Params.After), limit+1)
	if err != nil {
		return nil, err
	}
	reviews, next := page(reviews, limit, func(r store.Review) string { return r.ID })
	if err := h.viewed(ctx, "reviews.list", fmt.Sprintf("%d reviews", len(reviews)), ""); err != nil {
		return nil, err
	}
	return ListReviews200JSONResponse{Reviews: every(reviews, encodeReview), Next: next}, nil
}

// SettleReview closes a review.
func (h *handlers) SettleReview(ctx context.Context, request SettleReviewRequestObject) (SettleReviewResponseObject, error) {
	if err := h.store.SettleReview(ctx, callOf(ctx).actor(), request.Id, request.Body.Reason); err != nil {
		return nil, err
	}
	return SettleReview204Response{}, nil
}
