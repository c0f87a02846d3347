package web

import (
	"cmp"
	"encoding/json"
	"net/http"
	"slices"
	"strconv"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
)

func devicePages() []page {
	list := []access.Operation{"listDevices", "listSilentDevices"}
	one := []access.Operation{"getDevice", "listProfiles"}
	with := func(more ...access.Operation) []access.Operation { return slices.Concat(one, more) }
	return []page{
		{method: http.MethodGet, path: "/devices", title: "devices.title", template: "devices.html", needs: list, listed: true, group: "nav.physics", serve: showDevices},
		{method: http.MethodGet, path: "/devices/:id", title: "devices.one", template: "device.html", needs: one, serve: func(v *view) (any, error) { return v.device("") }},
		{method: http.MethodGet, path: "/devices/:id/draft", title: "devices.draft_title", template: "profiledraft.html", needs: with("draftProfile"), serve: func(v *view) (any, error) { return v.profileDraft("") }},
		{method: http.MethodPost, path: "/devices/:id/draft", title: "devices.draft_title", template: "profiledraft.html", needs: with("draftProfile"), serve: draftProfile},
		{method: http.MethodPost, path: "/devices/:id/profiles/:version/sign", title: "devices.one", template: "device.html", needs: with("signProfile"), serve: func(v *view) (any, error) { return decideProfile(v, "sign", "profile-signed") }},
		{method: http.MethodPost, path: "/devices/:id/profiles/:version/withdraw", title: "devices.one", template: "device.html", needs: with("withdrawProfile"), serve: func(v *view) (any, error) { return decideProfile(v, "withdraw", "profile-withdrawn") }},
		{method: http.MethodGet, path: "/devices/:id/check", title: "devices.check_title", template: "devicecheck.html", needs: with("checkDevice"), serve: func(v *view) (any, error) { return v.deviceCheck("") }},
		{method: http.MethodPost, path: "/devices/:id/check", title: "devices.check_title", template: "devicecheck.html", needs: with("checkDevice"), serve: checkDevice},
		{method: http.MethodGet, path: "/devices/:id/checks/:check", title: "devices.sheet_title", template: "checksheet.html", needs: with("getCheckSheet", "listDeviceChecks"), serve: showSheet},
	}
}

// devicesData is the registry by room.
type devicesData struct {
	AsOf  string
	Rooms []deviceRoom
}

type deviceRoom struct {
	Name    string
	Devices []deviceRow
}

// deviceRow is a device with how long it has been silent, nil where it is not or its habit is not known.
type deviceRow struct {
	httpapi.Device
	Called       string
	Silent       *httpapi.DeviceHabit
	HabitUnknown bool
}

// called is what people know a device by.
func called(d httpapi.Device) string { return cmp.Or(d.Name, d.Station, d.Model, d.Key) }

func showDevices(v *view) (any, error) {
	list, err := ask[httpapi.DeviceList](v, http.MethodGet, "/v1/devices", nil)
	if err != nil {
		return nil, err
	}
	watched, err := ask[httpapi.SilentDevices](v, http.MethodGet, "/v1/devices/silent", nil)
	d := devicesData{AsOf: watched.AsOf}
	for _, one := range list.Devices {
		row := deviceRow{Device: one, Called: called(one)}
		of := func(w httpapi.WatchedDevice) bool { return w.Device.Id == one.Id }
		if i := slices.IndexFunc(watched.Silent, of); i >= 0 {
			row.Silent = &watched.Silent[i].Habit
		}
		row.HabitUnknown = slices.ContainsFunc(watched.HabitUnknown, of)
		i := slices.IndexFunc(d.Rooms, func(r deviceRoom) bool { return r.Name == one.Room })
		if i < 0 {
			i = len(d.Rooms)
			d.Rooms = append(d.Rooms, deviceRoom{Name: one.Room})
		}
		d.Rooms[i].Devices = append(d.Rooms[i].Devices, row)
	}
	return d, err
}

// deviceData is one device with every version of its profile and its checks.
type deviceData struct {
	httpapi.DeviceDetail
	Called   string
	Profiles []profileRow
	ETag     string
	Checks   []httpapi.DeviceCheck
	// What the person may do.
	MayDraft, MayCheck, SeesChecks bool
	Typed                          typed
	Wrong                          string
}

// profileRow is one version of a profile in words, and what the person may do with it.
type profileRow struct {
	httpapi.DeviceProfile
	Particulars          []particular
	MaySign, MayWithdraw bool
}

func (v *view) device(wrong string) (deviceData, error) {
	id := escape(v.param("id"))
	d := deviceData{Typed: v.typed(), Wrong: wrong, MayDraft: v.grant.May("draftProfile") == nil, MayCheck: v.grant.May("checkDevice") == nil, SeesChecks: v.grant.May("listDeviceChecks") == nil}
	var err error
	if d.DeviceDetail, err = ask[httpapi.DeviceDetail](v, http.MethodGet, "/v1/devices/"+id, nil); err != nil {
		return d, err
	}
	d.Called = called(d.Device)
	list, etag, err := v.profiles(id)
	if err != nil {
		return d, err
	}
	d.ETag = etag
	for _, p := range list {
		row, err := v.profileRow(p)
		if err != nil {
			return d, err
		}
		d.Profiles = append(d.Profiles, row)
	}
	if !d.SeesChecks {
		return d, nil
	}
	checks, err := ask[httpapi.DeviceCheckList](v, http.MethodGet, "/v1/devices/"+id+"/checks", nil)
	d.Checks = checks.Checks
	return d, err
}

// profiles gives the versions of a device's profile, newest first, and the mark that a change of them wants.
func (v *view) profiles(device string) ([]httpapi.DeviceProfile, string, error) {
	a, err := v.call(http.MethodGet, "/v1/devices/"+device+"/profiles", nil)
	if err != nil {
		return nil, "", err
	}
	var list httpapi.ProfileList
	return list.Profiles, a.Header.Get("ETag"), json.Unmarshal(a.Body, &list)
}

func (v *view) profileRow(p httpapi.DeviceProfile) (profileRow, error) {
	row := profileRow{DeviceProfile: p}
	if p.State == httpapi.DeviceProfileStateDraft {
		mine := p.DraftedBy == v.grant.Account.Name
		row.MaySign = v.grant.May("signProfile") == nil && !mine
		row.MayWithdraw = v.grant.May("withdrawProfile") == nil && mine
	}
	all, err := particularsOf(p.Particulars)
	row.Particulars = said(all)
	return row, err
}

// decideProfile signs a draft or takes it back.
func decideProfile(v *view, how, done string) (any, error) {
	id := escape(v.param("id"))
	version, err := strconv.Atoi(v.param("version"))
	if err != nil {
		return nil, &failure{status: http.StatusNotFound}
	}
	path := "/v1/devices/" + id + "/profiles/" + strconv.Itoa(version) + "/" + how
	_, err = v.call(http.MethodPost, path, httpapi.ReasonRequest{Reason: v.text("reason")}, "If-Match", v.form("etag"))
	return v.answered(err, "/devices/"+id+"?done="+done, func(wrong string) (any, error) { return v.device(wrong) })
}
