package httpapi_test

import (
	"context"
	"fmt"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/store"
)

// releases makes releases of a few bytes, that hold every procedure.
type releases struct{ db *store.DB }

func (m releases) Make(ctx context.Context, actor store.Actor, id string) (store.Release, error) {
	return m.db.MakeRelease(ctx, actor, id, func(r store.Release, key string) (store.Making, error) {
		cases, err := m.db.Cases(ctx, store.Filter{})
		made := store.Making{Bytes: []byte("PK of " + r.ID), Reports: 1}
		for _, c := range cases {
			made.Cases = append(made.Cases, store.ReleasedCase{CaseID: c.ID, PatientID: c.PatientID, Version: c.Version})
		}
		return made, err
	})
}

const releaseRequest = `{"recipient":"Registry","purpose":"national survey","contents":["reports"]}`

// asked is a release that somebody else asked for, brought to a state.
func (r *rig) asked(state store.ReleaseState) store.Release {
	r.t.Helper()
	ctx := context.Background()
	r.cases++
	one, err := r.db.AskRelease(ctx, actor, store.ReleaseWanted{Recipient: fmt.Sprint("Registry ", r.cases), Purpose: "survey", Tables: true, Device: "pseudonym", Persons: "dropped"}, "key")
	require.NoError(r.t, err)
	if state != store.ReleaseAsked {
		one, err = r.db.ApproveRelease(ctx, store.System("somebody else"), one.ID, "agreed")
		require.NoError(r.t, err)
	}
	if state == store.ReleaseMade {
		one, err = releases{r.db}.Make(ctx, actor, one.ID)
		require.NoError(r.t, err)
	}
	return one
}

func releaseMatrix() map[string]expectation {
	path := func(state store.ReleaseState, rest, body string) func(*rig, string) (string, string, []string) {
		return func(r *rig, _ string) (string, string, []string) {
			return "/v1/releases/" + r.asked(state).ID + rest, body, nil
		}
	}
	return map[string]expectation{
		"GET /v1/releases": {roles: "pqu", scope: wholeSite, ask: at("/v1/releases"), ok: 200},
		"POST /v1/releases": {roles: "pq", scope: wholeSite, ask: func(*rig, string) (string, string, []string) {
			return "/v1/releases", releaseRequest, nil
		}, ok: 201},
		"GET /v1/releases/:id":          {roles: "pqu", scope: wholeSite, ask: path(store.ReleaseAsked, "", ""), ok: 200},
		"POST /v1/releases/:id/approve": {roles: "pq", scope: wholeSite, ask: path(store.ReleaseAsked, "/approve", reason), ok: 200},
		"POST /v1/releases/:id/refuse":  {roles: "pq", scope: wholeSite, ask: path(store.ReleaseAsked, "/refuse", reason), ok: 200},
		"POST /v1/releases/:id/make":    {roles: "pq", scope: wholeSite, ask: path(store.ReleaseApproved, "/make", ""), ok: 200},
		"GET /v1/releases/:id/file":     {roles: "pq", scope: wholeSite, ask: path(store.ReleaseMade, "/file", ""), ok: 200},
		"GET /v1/release-recipients":    {roles: "pqu", scope: wholeSite, ask: at("/v1/release-recipients"), ok: 200},
		"GET /v1/patients/:id/releases": {roles: "p", scope: wholeSite, ask: patientPath("/releases"), ok: 200},
		"POST /v1/release-recipients/:id/revoke": {roles: "pq", scope: wholeSite, ask: func(r *rig, _ string) (string, string, []string) {
			return "/v1/release-recipients/" + r.asked(store.ReleaseAsked).RecipientID + "/revoke", reason, nil
		}, ok: 204},
	}
}

func TestAReleaseTakesTwoPeople(t *testing.T) {
	r := newRig(t, nil)
	c := r.procedure(own)
	author, second := r.physicist(), r.physicist()
	auditor, _ := r.account(access.Auditor, nil)
	before := r.head()
	var one httpapi.Release
	a := r.ask(http.MethodPost, "/v1/releases", author, releaseRequest)
	require.Equal(t, 201, a.status, string(a.body))
	a.into(t, &one)
	assert.Equal(t, []any{httpapi.ReleaseState("asked"), httpapi.ReleaseDevice("pseudonym"), httpapi.ReleasePersons("dropped"), false, 1},
		[]any{one.State, one.Device, one.Persons, one.Characteristics, one.Covers}, "the least stays unless asked for")
	path := "/v1/releases/" + one.Id
	a = r.ask(http.MethodPost, path+"/make", author, "")
	assert.Equal(t, 409, a.status)
	a = r.ask(http.MethodPost, path+"/approve", author, reason)
	assert.Equal(t, 409, a.status)
	assert.Contains(t, string(a.body), "who asked")
	assert.Equal(t, 409, r.ask(http.MethodGet, path+"/file", author, "").status)
	require.Equal(t, 200, r.ask(http.MethodPost, path+"/approve", second, reason).status)
	a = r.ask(http.MethodPost, path+"/make", author, "")
	require.Equal(t, 200, a.status, string(a.body))
	a.into(t, &one)
	assert.Equal(t, []any{httpapi.ReleaseState("made"), 1, 1}, []any{one.State, one.Procedures, one.Patients})
	a = r.ask(http.MethodGet, path+"/file", second, "")
	assert.Equal(t, []string{"PK of " + one.Id, "application/zip", `attachment; filename="release-` + one.Id + `.zip"`},
		[]string{string(a.body), a.header.Get("Content-Type"), a.header.Get("Content-Disposition")})
	assert.Equal(t, 409, r.ask(http.MethodPost, path+"/make", author, "").status, "once")

	var list httpapi.ReleaseList
	r.ask(http.MethodGet, "/v1/patients/"+c.PatientID+"/releases", author, "").into(t, &list)
	assert.Equal(t, []httpapi.Release{one}, list.Releases)
	r.ask(http.MethodGet, "/v1/releases", auditor, "").into(t, &list)
	assert.Equal(t, []httpapi.Release{one}, list.Releases)

	assert.Equal(t, 204, r.ask(http.MethodPost, "/v1/release-recipients/"+one.RecipientId+"/revoke", second, reason).status)
	a = r.ask(http.MethodGet, path+"/file", author, "")
	assert.Equal(t, 409, a.status)
	assert.Contains(t, string(a.body), "revoked")
	var to httpapi.RecipientList
	r.ask(http.MethodGet, "/v1/release-recipients", auditor, "").into(t, &to)
	require.Len(t, to.Recipients, 1)
	assert.NotNil(t, to.Recipients[0].RevokedAt)
	assert.Equal(t, []string{
		"release.ask " + one.Id, "release.approve " + one.Id, "release.include " + one.Id, "release.make " + one.Id, "release.take " + one.Id,
		"patient.releases " + c.PatientID, "release.revoke " + one.RecipientId,
	}, r.actions(before))
}

func TestReleasesThatAreNone(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	for name, body := range map[string]string{
		"no recipient":          `{"recipient":"","purpose":"survey","contents":["reports"]}`,
		"no purpose":            `{"recipient":"Registry","purpose":"","contents":["reports"]}`,
		"nothing":               `{"recipient":"Registry","purpose":"survey","contents":[]}`,
		"unknown class":         `{"recipient":"Registry","purpose":"survey","contents":["tables"],"class":"nothing"}`,
		"no such day":           `{"recipient":"Registry","purpose":"survey","contents":["tables"],"from":"soon"}`,
		"no such device option": `{"recipient":"Registry","purpose":"survey","contents":["tables"],"device":"all"}`,
	} {
		assert.Equal(t, 400, r.ask(http.MethodPost, "/v1/releases", token, body).status, name)
	}
	assert.Equal(t, 404, r.ask(http.MethodPost, "/v1/releases/aaaaaaaaaaaaaaaaaaaaaaaa/make", token, "").status)
}
