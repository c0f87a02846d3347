package httpapi

import (
	"encoding/json"
	"slices"
	"time"

	"afterbeam/internal/followup/silence"
	"afterbeam/internal/store"
)

func encodeDevice(d store.Device) Device {
	return Device{
		Id: d.ID, Key: d.Key, Name: d.Name, Manufacturer: d.Manufacturer, Model: d.Model, Serial: d.Serial, Station: d.Station, Uid: d.UID, Room: d.Room,
		Software: d.Software, Reports: d.Reports, Procedures: d.Procedures, FirstDay: text(d.FirstDay), LastDay: text(d.LastDay),
		LastReceivedAt: moment(d.LastReceived), Drafts: d.Drafts, Signed: d.Signed,
	}
}

func encodeSeen(s store.Seen) DeviceSeen {
	return DeviceSeen{Value: s.Value, FirstDay: s.FirstDay, LastDay: s.LastDay, Reports: s.Reports}
}

func encodeHabit(v silence.Verdict) DeviceHabit {
	h := DeviceHabit{Known: v.Known, WaitedWorkingDays: v.Waited, SilentSince: text(v.Since)}
	if v.Known {
		h.UsualWorkingDays, h.AllowedWorkingDays = &v.Usual, &v.Allowed
	}
	return h
}

// The states of a profile version as they are shown.
const (
	stateDraft     DeviceProfileState = "draft"
	stateInForce   DeviceProfileState = "in_force"
	stateReplaced  DeviceProfileState = "replaced"
	stateWithdrawn DeviceProfileState = "withdrawn"
)

// encodeProfiles gives every version of a device's profile with the days on which it holds, in the order given.
func encodeProfiles(profiles []store.Profile) []DeviceProfile {
	signed := slices.DeleteFunc(slices.Clone(profiles), func(p store.Profile) bool { return p.State != store.ProfileSigned })
	slices.SortFunc(signed, store.Profile.InForceBefore)
	states, until := map[int]DeviceProfileState{}, map[int]string{}
	for i, p := range signed {
		states[p.Version] = stateInForce
		if i+1 == len(signed) {
			continue
		}
		next := signed[i+1].From
		if next == p.From {
			states[p.Version] = stateReplaced
			continue
		}
		until[p.Version] = dayBefore(next)
	}
	return every(profiles, func(p store.Profile) DeviceProfile {
		state, known := states[p.Version]
		switch {
		case p.State == store.ProfileWithdrawn:
			state = stateWithdrawn
		case !known:
			state = stateDraft
		}
		return encodeProfile(p, state, until[p.Version])
	})
}

func dayBefore(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return "" // days are checked before they are stored
	}
	return t.AddDate(0, 0, -1).Format(time.DateOnly)
}

func encodeProfile(p store.Profile, state DeviceProfileState, until string) DeviceProfile {
	return DeviceProfile{
		Version: p.Version, From: p.From, Until: text(until), State: state, Particulars: json.RawMessage(p.Body), Digest: p.Digest,
		Origin: DeviceProfileOrigin(p.Origin), DraftedBy: p.Drafter, DraftedAt: p.DraftedAt, Reason: p.Reason, SignedBy: text(p.Signer),
		SignedAt: moment(p.SignedAt), SignReason: p.SignReason,
	}
}
