package httpapi

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"slices"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/followup/silence"
	"afterbeam/internal/ingest"
	"afterbeam/internal/procedure/devicefile"
	"afterbeam/internal/store"
)

// rooms are those that the caller may see, nil for all.
func rooms(ctx context.Context) []string { return callOf(ctx).grant.Narrow(store.Filter{}).Rooms }

// seenDevice gives a device that was seen in the caller's rooms.
func (h *handlers) seenDevice(ctx context.Context, id string) (store.Device, error) {
	d, err := h.store.Device(ctx, id, rooms(ctx))
	if errors.Is(err, store.ErrNotFound) && rooms(ctx) != nil {
		if _, elsewhere := h.store.Device(ctx, id, nil); elsewhere == nil {
			return d, access.ErrOutside
		}
	}
	return d, err
}

// ListDevices lists the registry of equipment.
func (h *handlers) ListDevices(ctx context.Context, _ ListDevicesRequestObject) (ListDevicesResponseObject, error) {
	devices, err := h.store.Devices(ctx, rooms(ctx))
	if err != nil {
		return nil, err
	}
	return ListDevices200JSONResponse{Devices: every(devices, encodeDevice)}, nil
}

// GetDevice gives a device.
func (h *handlers) GetDevice(ctx context.Context, request GetDeviceRequestObject) (GetDeviceResponseObject, error) {
	d, err := h.seenDevice(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	inRooms, err := h.store.RoomsOf(ctx, d.ID)
	if err != nil {
		return nil, err
	}
	software, err := h.store.SoftwareOf(ctx, d.ID)
	if err != nil {
		return nil, err
	}
	v, err := habitOf(ctx, h.store, d, h.today())
	if err != nil {
		return nil, err
	}
	return GetDevice200JSONResponse{
		Device: encodeDevice(d), Rooms: every(inRooms, encodeSeen), Software: every(software, encodeSeen), Habit: encodeHabit(v),
	}, nil
}

// today is the local day of the site.
func (s *Server) today() string { return dayAt(s.cfg) }

// dayAt gives the local day of the site now.
func dayAt(cfg Config) string {
	site := cfg.Site
	if site == nil {
		site = time.UTC
	}
	return cfg.Now().In(site).Format(time.DateOnly)
}

// watched is a device with its habit.
type watched struct {
	device store.Device
	habit  silence.Verdict
}

// habitOf judges whether a device is silent on a day.
func habitOf(ctx context.Context, db deviceStore, d store.Device, today string) (silence.Verdict, error) {
	days, err := db.DaysOfUse(ctx, d.ID, silence.Gaps+1)
	return silence.Judge(days, today), err
}

// watch judges every device of the rooms.
func watch(ctx context.Context, db deviceStore, rooms []string, today string) ([]watched, error) {
	devices, err := db.Devices(ctx, rooms)
	if err != nil {
		return nil, err
	}
	all := make([]watched, 0, len(devices))
	for _, d := range devices {
		v, err := habitOf(ctx, db, d, today)
		if err != nil {
			return nil, err
		}
		all = append(all, watched{d, v})
	}
	return all, nil
}

// ListSilentDevices lists devices that sent nothing for longer than is their habit.
func (h *handlers) ListSilentDevices(ctx context.Context, _ ListSilentDevicesRequestObject) (ListSilentDevicesResponseObject, error) {
	today := h.today()
	all, err := watch(ctx, h.store, rooms(ctx), today)
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(all, func(a, b watched) int { return cmp.Compare(a.habit.Since, b.habit.Since) })
	silent := slices.DeleteFunc(slices.Clone(all), func(w watched) bool { return !w.habit.Silent() })
	unknown := slices.DeleteFunc(all, func(w watched) bool { return w.habit.Known })
	encode := func(w watched) WatchedDevice {
		return WatchedDevice{Device: encodeDevice(w.device), Habit: encodeHabit(w.habit)}
	}
	return ListSilentDevices200JSONResponse{AsOf: today, Silent: every(silent, encode), HabitUnknown: every(unknown, encode)}, nil
}

// ListProfiles lists what was written down and signed about a device.
func (h *handlers) ListProfiles(ctx context.Context, request ListProfilesRequestObject) (ListProfilesResponseObject, error) {
	d, err := h.seenDevice(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	// The tag is read before the list: what changes in between makes the tag old, never the answer.
	tag, err := h.store.ProfileTag(ctx, d.ID)
	if err != nil {
		return nil, err
	}
	profiles, err := h.store.Profiles(ctx, d.ID)
	if err != nil {
		return nil, err
	}
	etag := quote(tag)
	return ListProfiles200JSONResponse{Headers: ListProfiles200ResponseHeaders{ETag: &etag}, Body: ProfileList{Profiles: encodeProfiles(profiles)}}, nil
}

// profilesAsSeen gives the tag of a device's profiles when it is the one that the caller names.
func (h *handlers) profilesAsSeen(ctx context.Context, device string, ifMatch *string) (string, error) {
	if ifMatch == nil || *ifMatch == "*" {
		return "", tell(errNoPrecondition, "this change wants If-Match with the ETag that the profiles were read with")
	}
	tag, err := h.store.ProfileTag(ctx, device)
	if err == nil && !names(ifMatch, quote(tag)) {
		err = staleProfiles()
	}
	return tag, err
}

func staleProfiles() error {
	return tell(errStale, "the profiles changed since they were read; read them again")
}

// DraftProfile adds a draft, which nothing uses.
func (h *handlers) DraftProfile(ctx context.Context, request DraftProfileRequestObject) (DraftProfileResponseObject, error) {
	d, err := h.seenDevice(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	stored, err := profileAsked(*request.Body)
	if err != nil {
		return nil, err
	}
	tag, err := h.profilesAsSeen(ctx, d.ID, request.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	cl := callOf(ctx)
	stored.DeviceID, stored.Drafter = d.ID, cl.grant.Account.Name
	drafted, err := h.store.DraftProfile(ctx, cl.actor(), stored, tag)
	if errors.Is(err, store.ErrConflict) {
		return nil, staleProfiles()
	}
	if err != nil {
		return nil, err
	}
	etag, err := h.profilesETag(ctx, d.ID)
	if err != nil {
		return nil, err
	}
	return DraftProfile201JSONResponse{Headers: DraftProfile201ResponseHeaders{ETag: etag}, Body: encodeProfile(drafted, stateDraft, "")}, nil
}

func (h *handlers) profilesETag(ctx context.Context, device string) (*string, error) {
	tag, err := h.store.ProfileTag(ctx, device)
	etag := quote(tag)
	return &etag, err
}

// profileAsked checks the particulars by the rules of the device file.
func profileAsked(body ProfileRequest) (store.Profile, error) {
	if err := days(&body.From, nil); err != nil {
		return store.Profile{}, err
	}
	text, err := json.Marshal(body.Particulars)
	if err != nil {
		return store.Profile{}, err
	}
	p, err := devicefile.Unmarshal(text)
	if err != nil {
		return store.Profile{}, tell(store.ErrInvalid, ruleOf(err))
	}
	p.From = body.From
	return ingest.StoredProfile(p, body.Reason)
}

// profilesToChange gives a device that lies in the caller's rooms, with the tag of its profiles as the caller has seen them.
func (h *handlers) profilesToChange(ctx context.Context, id string, ifMatch *string) (store.Device, string, error) {
	d, err := h.seenDevice(ctx, id)
	if err != nil {
		return d, "", err
	}
	tag, err := h.profilesAsSeen(ctx, d.ID, ifMatch)
	return d, tag, err
}

// SignProfile puts a draft of another physicist in force.
func (h *handlers) SignProfile(ctx context.Context, request SignProfileRequestObject) (SignProfileResponseObject, error) {
	d, tag, err := h.profilesToChange(ctx, request.Id, request.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	cl := callOf(ctx)
	signed, asked, err := h.store.SignProfile(ctx, cl.actor(), d.ID, request.Version, cl.grant.Account.Name, request.Body.Reason, tag)
	switch {
	case errors.Is(err, store.ErrSamePerson):
		return nil, tell(access.ErrForbidden, "a profile is signed by another physicist than the one who wrote it")
	case errors.Is(err, store.ErrConflict):
		return nil, tell(store.ErrConflict, "this version is signed already, or the profiles changed meanwhile; read them again")
	case err != nil:
		return nil, err
	}
	profiles, err := h.store.Profiles(ctx, d.ID)
	if err != nil {
		return nil, err
	}
	etag, err := h.profilesETag(ctx, d.ID)
	if err != nil {
		return nil, err
	}
	answer := SignedProfile{}
	if asked.ID != "" {
		follows := encodeRecomputation(asked)
		answer.Recomputation = &follows
	}
	for _, p := range encodeProfiles(profiles) {
		if p.Version == signed.Version {
			answer.Profile = p
		}
	}
	return SignProfile200JSONResponse{Headers: SignProfile200ResponseHeaders{ETag: etag}, Body: answer}, nil
}

// WithdrawProfile takes back a draft of the caller's own.
func (h *handlers) WithdrawProfile(ctx context.Context, request WithdrawProfileRequestObject) (WithdrawProfileResponseObject, error) {
	d, tag, err := h.profilesToChange(ctx, request.Id, request.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	cl := callOf(ctx)
	taken, err := h.store.WithdrawProfile(ctx, cl.actor(), d.ID, request.Version, cl.grant.Account.Name, request.Body.Reason, tag)
	switch {
	case errors.Is(err, store.ErrOtherPerson):
		return nil, tell(access.ErrForbidden, "a draft is withdrawn by the physicist who wrote it; another one leaves it unsigned")
	case errors.Is(err, store.ErrConflict):
		return nil, tell(store.ErrConflict, "this version is no draft any more, or the profiles changed meanwhile; read them again")
	case err != nil:
		return nil, err
	}
	etag, err := h.profilesETag(ctx, d.ID)
	if err != nil {
		return nil, err
	}
	return WithdrawProfile200JSONResponse{Headers: WithdrawProfile200ResponseHeaders{ETag: etag}, Body: encodeProfile(taken, stateWithdrawn, "")}, nil
}
