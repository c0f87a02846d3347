package httpapi_test

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/demo"
	"afterbeam/internal/export/checksheet"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/store"
)

// checkable makes a device that was seen in a room and sent the report of a check.
func (r *rig) checkable(room string) string {
	r.t.Helper()
	ctx := context.Background()
	got := r.receipt("")
	n := fmt.Sprint(r.cases)
	report := demo.Check().Report
	report.Device.UID = "2.25.900." + n
	body, err := archive.Report(report)
	require.NoError(r.t, err)
	require.NoError(r.t, r.db.SaveReport(ctx, r.lease(store.JobRead), store.Report{
		ReceiptID: got.ID, SOPInstance: report.SOPInstanceUID, DataSetDigest: "d" + n, ContentDigest: "c" + n, StudyUID: got.StudyUID,
		DeviceKey: report.Device.Key(), ContentAt: r.clock.Now(), Body: body, Day: "2026-11-18", Equipment: store.Equipment{UID: report.Device.UID, Room: room},
	}, identity()))
	require.NoError(r.t, r.db.Finish(ctx, r.lease(store.JobAssess)))
	all, err := r.db.Devices(ctx, nil)
	require.NoError(r.t, err)
	for _, d := range all {
		if d.Key == report.Device.Key() {
			return d.ID
		}
	}
	require.Fail(r.t, "no device")
	return ""
}

func checkAsk(t testing.TB, form, report string) string {
	t.Helper()
	body, err := json.Marshal(map[string]string{"report_uid": report, "form": form, "reason": "yearly check"})
	require.NoError(t, err)
	return string(body)
}

func checkBody(t testing.TB) string {
	t.Helper()
	return checkAsk(t, demo.CheckForm(), demo.Check().Report.SOPInstanceUID)
}

func TestACheckMakesADraftThatAnotherSigns(t *testing.T) {
	r := newRig(t, nil)
	first, a := r.account(access.Physicist, nil)
	second, b := r.account(access.Physicist, nil)
	id := r.checkable(own)
	path := "/v1/devices/" + id + "/checks"
	before := r.head()
	got := r.ask("POST", path, first, checkBody(t))
	require.Equal(t, http.StatusCreated, got.status, string(got.body))
	var k httpapi.DeviceCheck
	got.into(t, &k)
	assert.Equal(t, []string{"profile.draft " + id + "/1", "device.check " + id + "/" + k.Id}, r.actions(before))
	require.NotNil(t, k.DraftVersion)
	assert.Equal(t, []any{1, "2026-11-18", a.Name, false, checksheet.Caution}, []any{*k.DraftVersion, k.Day, k.MadeBy, k.Contradicted, k.Caution})
	states := map[string]httpapi.CheckAnswerState{}
	for _, one := range k.Answers {
		states[one.Question] = one.State
	}
	assert.Equal(t, httpapi.CheckAnswerState("shown"), states["meaning of the longitudinal table position"])
	assert.Equal(t, httpapi.CheckAnswerState("unknown"), states["zero along the table"])

	// The draft is signed the way every draft is: by another.
	sign := "/v1/devices/" + id + "/profiles/1/sign"
	assert.Equal(t, http.StatusForbidden, r.ask("POST", sign, first, reason, "If-Match", `"1-0"`).status)
	signed := r.ask("POST", sign, second, reason, "If-Match", `"1-0"`)
	require.Equal(t, http.StatusOK, signed.status, string(signed.body))
	var s httpapi.SignedProfile
	signed.into(t, &s)
	assert.Equal(t, []string{a.Name, b.Name}, []string{s.Profile.DraftedBy, *s.Profile.SignedBy})
	assert.JSONEq(t, `{"angle_frame":"gantry","table_axes":{"longitudinal":{"grows_toward":"foot"},"lateral":{"grows_toward":"left"},
		"height":{"grows_toward":"up","at_isocentre_mm":1065}},"table":{}}`, withoutTable(t, s.Profile.Particulars))

	// The same check again changes nothing and drafts nothing; both are listed, newest first.
	r.clock.Pass(time.Second)
	again := r.ask("POST", path, second, checkBody(t))
	require.Equal(t, http.StatusCreated, again.status, string(again.body))
	var second1 httpapi.DeviceCheck
	again.into(t, &second1)
	assert.Nil(t, second1.DraftVersion)
	var list httpapi.DeviceCheckList
	r.ask("GET", path, first, "").into(t, &list)
	assert.Equal(t, []httpapi.DeviceCheck{second1, k}, list.Checks)

	sheet := r.ask("GET", path+"/"+k.Id+"/sheet", first, "")
	assert.Equal(t, []string{"text/html; charset=utf-8", "attachment"}, []string{sheet.header.Get("Content-Type"), sheet.header.Get("Content-Disposition")})
	assert.Contains(t, string(sheet.body), "<h1>Check of a fluoroscopic device</h1>")
	sheet = r.ask("GET", path+"/"+k.Id+"/sheet?format=text", first, "")
	assert.Contains(t, string(sheet.body), "SIGNATURES")
	assert.Equal(t, http.StatusNotFound, r.ask("GET", "/v1/devices/"+r.checkable(own)+"/checks/"+k.Id+"/sheet", first, "").status, "of another device")
}

// withoutTable gives particulars with an empty table, whichever way that is written.
func withoutTable(t *testing.T, particulars json.RawMessage) string {
	t.Helper()
	var m map[string]any
	require.NoError(t, json.Unmarshal(particulars, &m))
	m["table"] = map[string]any{}
	text, err := json.Marshal(m)
	require.NoError(t, err)
	return string(text)
}

func TestChecksAreRefused(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	id := r.checkable(own)
	form, uid := demo.CheckForm(), demo.Check().Report.SOPInstanceUID
	for name, tt := range map[string]struct{ body, says string }{
		"no TOML":            {checkAsk(t, "plane = "+plantedName+" [", uid), "line 1 is no TOML"},
		"a key misspelt":     {checkAsk(t, "plain = 1\n"+form, uid), "unknown key"},
		"another day":        {checkAsk(t, strings.Replace(form, "2026-11-18", plantedBirth+"x", 1), uid), "day wants a date such as 2026-01-31"},
		"no such report":     {checkAsk(t, form, "2.25.1"), "names no dose report of this device"},
		"an event too many":  {checkAsk(t, strings.Replace(form, "event = 11", "event = 99", 1), uid), "the record names event 99"},
		"another device":     {checkAsk(t, strings.Replace(form, `device = ""`, `device = "2.25.3"`, 1), uid), "the record is of device"},
		"nothing":            {"{}", ""},
		"a report of no uid": {checkAsk(t, form, "x"), ""},
	} {
		got := r.ask("POST", "/v1/devices/"+id+"/checks", token, tt.body)
		assert.Equal(t, http.StatusBadRequest, got.status, name)
		assert.Contains(t, string(got.body), tt.says, name)
		for _, secret := range planted() {
			assert.NotContains(t, string(got.body), secret, name)
		}
	}
	assert.Equal(t, http.StatusNotFound, r.ask("POST", "/v1/devices/aaaaaaaaaaaaaaaaaaaaaaaa/checks", token, checkBody(t)).status)
	var list httpapi.DeviceCheckList
	r.ask("GET", "/v1/devices/"+id+"/checks", token, "").into(t, &list)
	assert.Empty(t, list.Checks)
}
