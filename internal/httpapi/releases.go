package httpapi

import (
	"context"
	"crypto/rand"
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"afterbeam/internal/export/release"
	"afterbeam/internal/store"
)

type releaseStore interface {
	AskRelease(ctx context.Context, actor store.Actor, w store.ReleaseWanted, key string) (store.Release, error)
	ApproveRelease(ctx context.Context, actor store.Actor, id, reason string) (store.Release, error)
	RefuseRelease(ctx context.Context, actor store.Actor, id, reason string) (store.Release, error)
	ReleaseRecord(ctx context.Context, id string) (store.Release, error)
	Releases(ctx context.Context) ([]store.Release, error)
	ReleasesOfPatient(ctx context.Context, patient string) ([]store.Release, error)
	Recipients(ctx context.Context) ([]store.Recipient, error)
	RevokeRecipient(ctx context.Context, actor store.Actor, id, reason string) error
}

// ListReleases lists what was asked for and what left.
func (h *handlers) ListReleases(ctx context.Context, _ ListReleasesRequestObject) (ListReleasesResponseObject, error) {
	all, err := h.store.Releases(ctx)
	if err != nil {
		return nil, err
	}
	list, err := h.releases(ctx, all)
	return ListReleases200JSONResponse(list), err
}

// ListPatientReleases lists what left of a patient.
func (h *handlers) ListPatientReleases(ctx context.Context, request ListPatientReleasesRequestObject) (ListPatientReleasesResponseObject, error) {
	p, err := h.store.Patient(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	all, err := h.store.ReleasesOfPatient(ctx, p.ID)
	if err != nil {
		return nil, err
	}
	if err := h.viewed(ctx, "patient.releases", p.ID, p.ID); err != nil {
		return nil, err
	}
	list, err := h.releases(ctx, all)
	return ListPatientReleases200JSONResponse(list), err
}

func (h *handlers) releases(ctx context.Context, all []store.Release) (ReleaseList, error) {
	list := ReleaseList{Releases: make([]Release, 0, len(all))}
	for _, r := range all {
		encoded, err := h.encodeRelease(ctx, r)
		if err != nil {
			return ReleaseList{}, err
		}
		list.Releases = append(list.Releases, encoded)
	}
	return list, nil
}

// AskRelease keeps a request.
func (h *handlers) AskRelease(ctx context.Context, request AskReleaseRequestObject) (AskReleaseResponseObject, error) {
	body := request.Body
	w := store.ReleaseWanted{
		Recipient: body.Recipient, Purpose: body.Purpose, From: or(body.From), To: or(body.To), Room: or(body.Room), Class: or(body.Class),
		Reports: slices.Contains(body.Contents, Reports), Tables: slices.Contains(body.Contents, Tables),
		Device: string(release.Cautious().Device), Persons: string(release.Cautious().Persons),
		Characteristics: or(body.Characteristics), BoundSizes: or(body.BoundSizes),
	}
	if body.Device != nil {
		w.Device = string(*body.Device)
	}
	if body.Persons != nil {
		w.Persons = string(*body.Persons)
	}
	if w.Class != "" && !h.cfg.KnownClass(w.Class) {
		return nil, tell(store.ErrInvalid, "property class names no procedure class")
	}
	key, err := release.NewKey(rand.Reader)
	if err != nil {
		return nil, err
	}
	r, err := h.store.AskRelease(ctx, callOf(ctx).actor(), w, key)
	if err != nil {
		return nil, toldOf(err)
	}
	encoded, err := h.encodeRelease(ctx, r)
	return AskRelease201JSONResponse(encoded), err
}

// GetRelease gives a release.
func (h *handlers) GetRelease(ctx context.Context, request GetReleaseRequestObject) (GetReleaseResponseObject, error) {
	r, err := h.store.ReleaseRecord(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	encoded, err := h.encodeRelease(ctx, r)
	return GetRelease200JSONResponse(encoded), err
}

// ApproveRelease lets a release be made.
func (h *handlers) ApproveRelease(ctx context.Context, request ApproveReleaseRequestObject) (ApproveReleaseResponseObject, error) {
	r, err := h.store.ApproveRelease(ctx, callOf(ctx).actor(), request.Id, request.Body.Reason)
	if err != nil {
		return nil, toldOf(err)
	}
	encoded, err := h.encodeRelease(ctx, r)
	return ApproveRelease200JSONResponse(encoded), err
}

// RefuseRelease ends a request.
func (h *handlers) RefuseRelease(ctx context.Context, request RefuseReleaseRequestObject) (RefuseReleaseResponseObject, error) {
	r, err := h.store.RefuseRelease(ctx, callOf(ctx).actor(), request.Id, request.Body.Reason)
	if err != nil {
		return nil, toldOf(err)
	}
	encoded, err := h.encodeRelease(ctx, r)
	return RefuseRelease200JSONResponse(encoded), err
}

// MakeRelease makes what leaves; the store notes each patient in it.
func (h *handlers) MakeRelease(ctx context.Context, request MakeReleaseRequestObject) (MakeReleaseResponseObject, error) {
	r, err := h.cfg.Releases.Make(ctx, callOf(ctx).actor(), request.Id)
	if err != nil {
		return nil, toldOf(err)
	}
	encoded, err := h.encodeRelease(ctx, r)
	return MakeRelease200JSONResponse(encoded), err
}

// GetReleaseFile hands out what was made, and notes to whom.
func (h *handlers) GetReleaseFile(ctx context.Context, request GetReleaseFileRequestObject) (GetReleaseFileResponseObject, error) {
	r, err := h.store.ReleaseRecord(ctx, request.Id)
	switch {
	case err != nil:
		return nil, err
	case r.State != store.ReleaseMade:
		return nil, tell(store.ErrConflict, "the release is "+string(r.State)+", not made")
	case r.Revoked:
		return nil, tell(store.ErrConflict, "the recipient's key was revoked: the file is not handed out any more")
	}
	raw, err := h.store.Raw(r.Digest)
	if err != nil {
		return nil, fmt.Errorf("%w: release %s: %w", errDamaged, r.ID, err)
	}
	if err := h.viewed(ctx, "release.take", r.ID, ""); err != nil {
		return nil, err
	}
	return releaseFile{r.ID, r.Digest, raw}, nil
}

// ListRecipients lists to whom releases went or may go.
func (h *handlers) ListRecipients(ctx context.Context, _ ListRecipientsRequestObject) (ListRecipientsResponseObject, error) {
	all, err := h.store.Recipients(ctx)
	if err != nil {
		return nil, err
	}
	return ListRecipients200JSONResponse{Recipients: every(all, func(r store.Recipient) Recipient {
		return Recipient{Id: r.ID, Name: r.Name, MadeBy: r.MadeBy, MadeAt: r.MadeAt, RevokedBy: text(r.RevokedBy), RevokedAt: moment(r.RevokedAt), RevokedReason: r.RevokedReason}
	})}, nil
}

// RevokeRecipient takes a key away.
func (h *handlers) RevokeRecipient(ctx context.Context, request RevokeRecipientRequestObject) (RevokeRecipientResponseObject, error) {
	if err := h.store.RevokeRecipient(ctx, callOf(ctx).actor(), request.Id, request.Body.Reason); err != nil {
		return nil, toldOf(err)
	}
	return RevokeRecipient204Response{}, nil
}

func (h *handlers) encodeRelease(ctx context.Context, r store.Release) (Release, error) {
	w := r.Wanted
	covers := r.Procedures
	if r.State != store.ReleaseMade {
		var err error
		if covers, err = h.store.CountCases(ctx, store.Filter{From: w.From, To: w.To, Room: w.Room, Class: w.Class}); err != nil {
			return Release{}, err
		}
	}
	contents := []ReleaseContent{}
	if w.Reports {
		contents = append(contents, Reports)
	}
	if w.Tables {
		contents = append(contents, Tables)
	}
	return Release{
		Id: r.ID, RecipientId: r.RecipientID, Recipient: w.Recipient, Revoked: r.Revoked, Purpose: w.Purpose, State: ReleaseState(r.State), Contents: contents,
		Device: ReleaseDevice(w.Device), Persons: ReleasePersons(w.Persons), Characteristics: w.Characteristics, BoundSizes: w.BoundSizes,
		From: text(w.From), To: text(w.To), Room: text(w.Room), Class: text(w.Class), Covers: covers,
		AskedBy: r.AskedBy, AskedAt: r.AskedAt, DecidedBy: text(r.DecidedBy), DecidedAt: moment(r.DecidedAt), DecidedReason: r.DecidedReason,
		MadeBy: text(r.MadeBy), MadeAt: moment(r.MadeAt), Digest: text(r.Digest), Bytes: r.Size, Reports: r.Reports, Procedures: r.Procedures, Patients: r.Patients,
	}, nil
}

// releaseFile is what was made.
type releaseFile struct {
	id, digest string
	body       []byte
}

// VisitGetReleaseFileResponse writes it.
func (f releaseFile) VisitGetReleaseFileResponse(w http.ResponseWriter) error {
	h := w.Header()
	h.Set("Content-Type", "application/zip")
	h.Set("Content-Length", strconv.Itoa(len(f.body)))
	h.Set("Content-Disposition", `attachment; filename="release-`+f.id+`.zip"`)
	h.Set("ETag", quote(f.digest))
	w.WriteHeader(http.StatusOK)
	_, err := w.Write(f.body)
	return err
}
