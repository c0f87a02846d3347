package httpapi_test

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

const profileBody = `{"from":"2026-09-01","reason":"yearly calibration","particulars":{
	"name":"Hybrid 1","meter":"checked","mobile":false,
	"kerma_factor":{"value":1.08,"uncertainty_percent":3,"from":"2026-09-01","until":"2027-08-31"},
	"kap_factor":{"value":1.05,"uncertainty_percent":4,"includes_table":true},
	"source_to_reference_mm":635,"source_to_isocentre_mm":785,"angle_frame":"patient","field_plane":"isocentre","inherent_aluminium_mm":2.5,
	"table_axes":{"height":{"grows_toward":"down","at_isocentre_mm":-12.5},"longitudinal":{"grows_toward":"head"}},
	"table":{"known":"measured","width_mm":450,"length_mm":2800,"mattress_mm":25,"layer":[{"material":"carbon_fibre","mass_g_cm2":0.42}]}}}`

// device makes a device of its own that was seen in a room, on a day.
func (r *rig) device(room string) string { return r.usedOn(room, "2026-09-14") }

func (r *rig) usedOn(room string, days ...string) string {
	r.t.Helper()
	ctx := context.Background()
	r.cases++
	key := fmt.Sprintf("2.25.800.%d", r.cases)
	for _, day := range days {
		got := r.receipt("")
		n := fmt.Sprint(r.cases)
		require.NoError(r.t, r.db.SaveReport(ctx, r.lease(store.JobRead), store.Report{
			ReceiptID: got.ID, SOPInstance: "2.25.1" + n, DataSetDigest: "d" + n, ContentDigest: "c" + n, StudyUID: got.StudyUID, DeviceKey: key,
			ContentAt: r.clock.Now(), Body: []byte("{}"), Day: day,
			Equipment: store.Equipment{UID: key, Manufacturer: "Maker", Model: "M", Serial: "S-1", Station: "ST", Name: "N", Room: room, Software: "1.0"},
		}, identity()))
		require.NoError(r.t, r.db.Finish(ctx, r.lease(store.JobAssess)))
	}
	all, err := r.db.Devices(ctx, nil)
	require.NoError(r.t, err)
	for _, d := range all {
		if d.Key == key {
			return d.ID
		}
	}
	require.Fail(r.t, "no device")
	return ""
}

func TestDevices(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	id := r.device(own)
	var list httpapi.DeviceList
	r.ask("GET", "/v1/devices", token, "").into(t, &list)
	require.Len(t, list.Devices, 1)
	d := list.Devices[0]
	assert.Equal(t, []any{id, "Maker", "S-1", own, 1, 0, "2026-09-14"}, []any{d.Id, d.Manufacturer, d.Serial, d.Room, d.Reports, d.Signed, *d.LastDay})
	var detail httpapi.DeviceDetail
	r.ask("GET", "/v1/devices/"+id, token, "").into(t, &detail)
	assert.Equal(t, []httpapi.DeviceSeen{{Value: "1.0", FirstDay: "2026-09-14", LastDay: "2026-09-14", Reports: 1}}, detail.Software)
	assert.Equal(t, httpapi.DeviceHabit{}, detail.Habit, "one day is no habit")
	assert.Equal(t, http.StatusNotFound, r.ask("GET", "/v1/devices/aaaaaaaaaaaaaaaaaaaaaaaa", token, "").status)
}

func TestSilentDevices(t *testing.T) {
	r := newRig(t, nil)
	var days []string
	for d := time.Date(2026, 8, 24, 0, 0, 0, 0, time.UTC); len(days) < 11; d = d.AddDate(0, 0, 1) {
		if d.Weekday() != time.Saturday && d.Weekday() != time.Sunday {
			days = append(days, d.Format(time.DateOnly))
		}
	}
	require.Equal(t, "2026-09-07", days[10]) // a Monday; the rig's today is Monday 2026-09-14
	silent := r.usedOn(own, days...)
	alive := r.usedOn(own, append(days, "2026-09-10")...)
	rare := r.usedOn(other, days[:3]...)
	ask := func(token string) (s httpapi.SilentDevices) {
		r.ask("GET", "/v1/devices/silent", token, "").into(t, &s)
		return s
	}
	s := ask(r.physicist())
	require.Len(t, s.Silent, 1)
	four, one, three, since := 4, 1, 3, "2026-09-11"
	assert.Equal(t, silent, s.Silent[0].Device.Id)
	assert.Equal(t, httpapi.DeviceHabit{Known: true, UsualWorkingDays: &one, AllowedWorkingDays: &three, WaitedWorkingDays: four, SilentSince: &since}, s.Silent[0].Habit)
	require.Len(t, s.HabitUnknown, 1)
	assert.Equal(t, rare, s.HabitUnknown[0].Device.Id)
	assert.Equal(t, "2026-09-14", s.AsOf)
	inOther, _ := r.account(access.Operator, []string{other})
	assert.Empty(t, ask(inOther).Silent, "another room's")

	r.clock.Pass(90 * time.Minute)
	text := r.scrape()
	assert.Contains(t, text, "afterbeam_devices_silent 1")
	assert.Contains(t, text, `afterbeam_device_last_report_seconds{device="`+alive+`"} 54`)
	assert.NotContains(t, text, "2.25.800")
	assert.NotContains(t, text, "S-1")
}

func TestProfilesWantTwoPhysicists(t *testing.T) {
	r := newRig(t, nil)
	first, a := r.account(access.Physicist, nil)
	second, b := r.account(access.Physicist, nil)
	id := r.device(own)
	path := "/v1/devices/" + id + "/profiles"
	read := r.ask("GET", path, first, "")
	assert.Equal(t, `"0-0"`, read.header.Get("ETag"))

	assert.Equal(t, http.StatusPreconditionRequired, r.ask("POST", path, first, profileBody).status)
	assert.Equal(t, http.StatusPreconditionFailed, r.ask("POST", path, first, profileBody, "If-Match", `"3-1"`).status)
	before := r.head()
	got := r.ask("POST", path, first, profileBody, "If-Match", `"0-0"`)
	require.Equal(t, http.StatusCreated, got.status, string(got.body))
	assert.Equal(t, `"1-0"`, got.header.Get("ETag"))
	assert.Equal(t, []string{"profile.draft " + id + "/1"}, r.actions(before))
	var p httpapi.DeviceProfile
	got.into(t, &p)
	assert.Equal(t, []any{1, "draft", a.Name, "interface"}, []any{p.Version, string(p.State), p.DraftedBy, string(p.Origin)})
	var sent struct{ Particulars map[string]any }
	require.NoError(t, json.Unmarshal([]byte(profileBody), &sent))
	delete(sent.Particulars, "mobile") // what is no news is left out
	var kept map[string]any
	require.NoError(t, json.Unmarshal(p.Particulars, &kept))
	assert.Equal(t, sent.Particulars, kept, "every particular is kept to the digit")

	sign := func(token, etag string, version int) answer {
		return r.ask("POST", fmt.Sprintf("%s/%d/sign", path, version), token, reason, "If-Match", etag)
	}
	assert.Equal(t, http.StatusForbidden, sign(first, `"1-0"`, 1).status, "one's own")
	assert.Equal(t, http.StatusPreconditionFailed, sign(second, `"0-0"`, 1).status)
	assert.Equal(t, http.StatusNotFound, sign(second, `"1-0"`, 2).status)
	before = r.head()
	got = sign(second, `"1-0"`, 1)
	require.Equal(t, http.StatusOK, got.status, string(got.body))
	assert.Equal(t, `"1-1"`, got.header.Get("ETag"))
	var signed httpapi.SignedProfile
	got.into(t, &signed)
	assert.Equal(t, []string{"in_force", b.Name}, []string{string(signed.Profile.State), *signed.Profile.SignedBy})
	assert.Nil(t, signed.Recomputation, "there is no procedure to estimate anew")
	assert.Equal(t, []string{"profile.sign " + id + "/1"}, r.actions(before))
	assert.Equal(t, http.StatusConflict, sign(second, `"1-1"`, 1).status, "signed once")

	for _, from := range []string{"2026-10-01", "2026-09-01"} {
		body := `{"from":"` + from + `","reason":"checked again","particulars":{}}`
		tag := r.ask("GET", path, first, "").header.Get("ETag")
		got := r.ask("POST", path, first, body, "If-Match", tag)
		require.Equal(t, http.StatusCreated, got.status)
		got.into(t, &p)
		require.Equal(t, http.StatusOK, sign(second, got.header.Get("ETag"), p.Version).status)
	}
	var list httpapi.ProfileList
	r.ask("GET", path, first, "").into(t, &list)
	var shown []string
	for _, p := range list.Profiles {
		until := "open"
		if p.Until != nil {
			until = *p.Until
		}
		shown = append(shown, fmt.Sprint(p.Version, " ", p.From, " ", until, " ", p.State))
	}
	assert.Equal(t, []string{"3 2026-09-01 2026-09-30 in_force", "2 2026-10-01 open in_force", "1 2026-09-01 open replaced"}, shown)
}

func TestProfilesAreChecked(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	path := "/v1/devices/" + r.device(own) + "/profiles"
	for name, body := range map[string]string{
		"no day":             `{"from":"2026-02-30","reason":"a test","particulars":{}}`,
		"no reason":          `{"from":"2026-02-01","particulars":{}}`,
		"unknown particular": `{"from":"2026-02-01","reason":"a test","particulars":{"colour":"blue"}}`,
		"absurd factor":      `{"from":"2026-02-01","reason":"a test","particulars":{"kap_factor":{"value":10.5,"uncertainty_percent":3}}}`,
		"no uncertainty":     `{"from":"2026-02-01","reason":"a test","particulars":{"kap_factor":{"value":1.05}}}`,
		"factor's day":       `{"from":"2026-02-01","reason":"a test","particulars":{"kap_factor":{"value":1.05,"uncertainty_percent":3,"until":"2026-99-99"}}}`,
		"zero of no axis":    `{"from":"2026-02-01","reason":"a test","particulars":{"table_axes":{"height":{"at_isocentre_mm":3}}}}`,
		"layers not said":    `{"from":"2026-02-01","reason":"a test","particulars":{"table":{"known":"measured"}}}`,
		"signs itself":       `{"from":"2026-02-01","reason":"a test","signed_by":"me","particulars":{}}`,
	} {
		got := r.ask("POST", path, token, body, "If-Match", `"0-0"`)
		assert.Equal(t, http.StatusBadRequest, got.status, "%s: %s", name, got.body)
		assert.NotContains(t, string(got.body), "2026-99-99", "what was sent is not told back")
	}
	var list httpapi.ProfileList
	r.ask("GET", path, token, "").into(t, &list)
	assert.Empty(t, list.Profiles)
}

func TestRecomputations(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	c := r.procedure(own)
	assert.Equal(t, http.StatusBadRequest, r.ask("POST", "/v1/recomputations", token, `{"reason":"a test","device_id":"aaaaaaaaaaaaaaaaaaaaaaaa"}`).status)
	assert.Equal(t, http.StatusBadRequest, r.ask("POST", "/v1/recomputations", token, `{"reason":"a test","from":"2026-09-02","to":"2026-09-01"}`).status)
	got := r.ask("POST", "/v1/recomputations", token, `{"reason":"other coefficients","from":"2026-09-14","to":"2026-09-14"}`)
	require.Equal(t, http.StatusAccepted, got.status, string(got.body))
	var asked httpapi.Recomputation
	got.into(t, &asked)
	assert.Equal(t, "/v1/recomputations/"+asked.Id, got.header.Get("Location"))
	assert.Equal(t, []any{"running", 1, 1, "other coefficients", "2026-09-14"}, []any{string(asked.State), asked.Studies, asked.Waiting, asked.Reason, *asked.To})

	assert.Contains(t, r.actions(0), "estimates.recompute "+asked.Id)
	c.PSD, c.KAP, c.FlagState = quantity.Some[quantity.Gray](2.5), quantity.None[quantity.GraySquareMetre](), "near"
	r.save(r.lease(store.JobAssess), c, "second")
	r.ask("GET", "/v1/recomputations/"+asked.Id, token, "").into(t, &asked)
	assert.Equal(t, []any{"ended", 0, 1, true}, []any{string(asked.State), asked.Waiting, asked.Changed, asked.EndedAt != nil})
	before := r.head()
	var found httpapi.DifferencePage
	r.ask("GET", "/v1/recomputations/"+asked.Id+"/differences", token, "").into(t, &found)
	assert.Equal(t, []string{"differences.list " + asked.Id + ": 1 procedures"}, r.actions(before))
	require.Len(t, found.Differences, 1)
	d := found.Differences[0]
	assert.Equal(t, []any{c.ID, own, 1, 2, "reached", "near", "second"}, []any{d.ProcedureId, d.Room, d.VersionBefore, d.VersionAfter, d.FlagBefore, d.FlagAfter, d.Change})
	kap, was, is := 500.0, 3.5, 2.5
	assert.Equal(t, []httpapi.NumberChange{
		{Quantity: "kap", Unit: "Gy.cm2", Before: &kap}, {Quantity: "peak_skin_dose", Unit: "Gy", Before: &was, After: &is},
	}, d.Numbers)
	assert.NotEmpty(t, found.Caution)
	var page httpapi.RecomputationPage
	r.ask("GET", "/v1/recomputations?limit=1", token, "").into(t, &page)
	assert.Equal(t, asked.Id, page.Recomputations[0].Id)
	assert.Nil(t, page.Next)
	assert.Equal(t, http.StatusNotFound, r.ask("GET", "/v1/recomputations/aaaaaaaaaaaaaaaaaaaaaaaa/differences", token, "").status)
}

// A draft is taken back by the physicist who wrote it, stays to be read, and is never signed.
func TestADraftIsWithdrawnByItsAuthor(t *testing.T) {
	r := newRig(t, nil)
	author, _ := r.account(access.Physicist, nil)
	another, _ := r.account(access.Physicist, nil)
	id := r.device(own)
	path := "/v1/devices/" + id + "/profiles"
	require.Equal(t, http.StatusCreated, r.ask("POST", path, author, profileBody, "If-Match", `"0-0"`).status)
	withdraw := func(token string, headers ...string) answer {
		return r.ask("POST", path+"/1/withdraw", token, reason, headers...)
	}
	assert.Equal(t, http.StatusPreconditionRequired, withdraw(author).status)
	assert.Equal(t, http.StatusPreconditionFailed, withdraw(author, "If-Match", `"0-0"`).status)
	assert.Equal(t, http.StatusForbidden, withdraw(another, "If-Match", `"1-0"`).status)
	before := r.head()
	got := withdraw(author, "If-Match", `"1-0"`)
	require.Equal(t, http.StatusOK, got.status, string(got.body))
	assert.Equal(t, `"1-1"`, got.header.Get("ETag"))
	assert.Equal(t, []string{"profile.withdraw " + id + "/1"}, r.actions(before))
	assert.Equal(t, http.StatusConflict, withdraw(author, "If-Match", `"1-1"`).status, "once")
	assert.Equal(t, http.StatusConflict, r.ask("POST", path+"/1/sign", another, reason, "If-Match", `"1-1"`).status, "never signed")
	var list httpapi.ProfileList
	r.ask("GET", path, another, "").into(t, &list)
	require.Len(t, list.Profiles, 1)
	assert.Equal(t, []any{"withdrawn", (*string)(nil)}, []any{string(list.Profiles[0].State), list.Profiles[0].Until})
}
