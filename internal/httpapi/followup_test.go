package httpapi_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/followup/ask"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/store"
)

// askOf gives the ask of a slot of a case.
func (r *rig) askOf(c store.Case, slot string) store.AskRecord {
	r.t.Helper()
	all, err := r.db.Asks(context.Background(), store.AskFilter{CaseID: c.ID})
	require.NoError(r.t, err)
	for _, a := range all {
		if a.Slot == slot {
			return a
		}
	}
	require.Fail(r.t, "no ask", slot)
	return store.AskRecord{}
}

func askPath(slot, rest string, body func(r *rig, room string) string) func(*rig, string) (string, string, []string) {
	return func(r *rig, room string) (string, string, []string) {
		a := r.askOf(r.stranger(room), slot)
		return "/v1/asks/" + a.ID + rest, body(r, room), nil
	}
}

// flagPath makes a procedure that reached a level which only notifies: an operator may settle that.
func flagPath(rest, body string) func(*rig, string) (string, string, []string) {
	return func(r *rig, room string) (string, string, []string) {
		_, report, j := r.report(identity())
		ids, err := r.db.SaveAssessment(context.Background(), j, []store.Version{{
			Case: store.Case{
				StudyUID: report.StudyUID, DeviceKey: report.DeviceKey, PatientID: report.PatientID, Room: room, State: "complete",
				Start: r.clock.Now(), LocalDate: "2026-09-14", FlagState: "reached",
			},
			Methods: "test 1", Digest: "notified", Summary: []byte("{}"), Body: []byte("body"),
			Flags: []store.Flag{{Scope: "this procedure", Scheme: "test", LevelID: "notify", Meaning: ask.Notification, Quantity: "kar", State: "reached"}},
		}})
		require.NoError(r.t, err)
		flags, err := r.db.RaisedFlags(context.Background(), ids[0])
		require.NoError(r.t, err)
		require.NotEmpty(r.t, flags)
		return "/v1/raised-flags/" + flags[0].ID + rest, body, nil
	}
}

func without(*rig, string) string { return "" }

// followUpMatrix is the part of the matrix about the follow-up.
func followUpMatrix() map[string]expectation {
	own := `{"value_gy":4,"low_gy":3,"high_gy":5,"method":"measured geometry","reason":"table height was known"}`
	return map[string]expectation{
		"GET /v1/asks":        {roles: "po", scope: listed, ask: listing("/v1/asks?limit=500&state=all"), ok: 200},
		"GET /v1/asks/counts": {roles: "poq", scope: listed, ask: listing("/v1/asks/counts"), ok: 200},
		"GET /v1/asks/:id":    {roles: "po", scope: inRoom, ask: askPath("inform", "", without), ok: 200},
		"POST /v1/asks/:id/answer": {roles: "po", scope: inRoom, ask: askPath("inform", "/answer", func(*rig, string) string {
			return `{"outcome":"done","day":"2026-09-14"}`
		}), ok: 200},
		"POST /v1/asks/:id/handover": {roles: "po", scope: inRoom, ask: askPath("inform", "/handover", func(r *rig, room string) string {
			_, a := r.account(access.Operator, []string{room})
			return fmt.Sprintf(`{"account_id":%q,"reason":"on leave"}`, a.ID)
		}), ok: 200},
		"GET /v1/procedures/:id/follow-up": {roles: "po", scope: inRoom, ask: procedurePath("/follow-up"), ok: 200},
		"POST /v1/procedures/:id/own-estimates": {roles: "p", scope: inRoom, ask: func(r *rig, room string) (string, string, []string) {
			return "/v1/procedures/" + r.procedure(room).ID + "/own-estimates", own, nil
		}, ok: 201},
		"GET /v1/raised-flags/:id":         {roles: "po", scope: inRoom, ask: flagPath("", ""), ok: 200},
		"POST /v1/raised-flags/:id/settle": {roles: "po", scope: inRoom, ask: flagPath("/settle", `{"ground":"measurement","reason":"display reads half as much again"}`), ok: 200},
		"GET /v1/follow-up-schedule":       {roles: "poq", ask: at("/v1/follow-up-schedule"), ok: 200},
		"GET /v1/levels":                   {roles: "poq", ask: at("/v1/levels"), ok: 200},
		"GET /v1/level-sets":               {roles: "pq", ask: at("/v1/level-sets"), ok: 200},
		"POST /v1/level-sets": {roles: "p", scope: wholeSite, ask: func(*rig, string) (string, string, []string) {
			return "/v1/level-sets", oneLevel(4), nil
		}, ok: 201},
		"GET /v1/level-sets/:id":           {roles: "pq", ask: levelSetPath("", ""), ok: 200},
		"GET /v1/level-sets/:id/preview":   {roles: "p", scope: wholeSite, ask: levelSetPath("/preview", ""), ok: 200},
		"POST /v1/level-sets/:id/approve":  {roles: "p", scope: wholeSite, ask: levelSetPath("/approve", reason), ok: 200},
		"POST /v1/level-sets/:id/withdraw": {roles: "p", scope: wholeSite, ask: levelSetPath("/withdraw", reason), ok: 200},
	}
}

func TestAsksFromReachedFlagToAnswer(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	c := r.procedure(own)
	var page httpapi.AskPage
	r.ask("GET", "/v1/asks?procedure="+c.ID, token, "").into(t, &page)
	got := map[string]string{}
	for _, a := range page.Asks {
		assert.Equal(t, c.ID, a.ProcedureId)
		assert.NotEmpty(t, a.Words)
		assert.Contains(t, a.Source, "(", "how it is known")
		got[a.Slot] = a.Due
	}
	// The procedure was on Monday 2026-09-14; the clock of the test says the same day.
	assert.Equal(t, map[string]string{
		"record": "2026-09-14", "inform": "2026-09-14", "review": "2026-09-16", "early": "2026-09-28", "month": "2026-10-17",
	}, got)

	early := r.askOf(c, "early")
	path := "/v1/asks/" + early.ID + "/answer"
	a := r.ask("POST", path, token, `{"outcome":"done","day":"2026-09-14"}`)
	assert.Equal(t, 400, a.status)
	assert.Contains(t, string(a.body), "seen with a grade")

	r.clock.Pass(16 * 24 * time.Hour)
	token = r.physicist()
	r.ask("GET", "/v1/asks?state=overdue&procedure="+c.ID, token, "").into(t, &page)
	require.NotEmpty(t, page.Asks)
	assert.Equal(t, 16, page.Asks[0].DaysOver, "those of the same day come first")
	assert.True(t, page.Asks[0].Overdue)
	var detail httpapi.AskDetail
	r.ask("POST", path, token, `{"outcome":"seen","day":"2026-09-26","grade":2,"place":"left back, below the shoulder blade","picture":"archive 12/7"}`).into(t, &detail)
	assert.Equal(t, httpapi.AskStateAnswered, detail.Ask.State)
	assert.NotEmpty(t, detail.GradeWords)
	assert.Equal(t, []string{"B", "C"}, detail.Bands, "the published bands that name grade 2")
	assert.Equal(t, httpapi.AskEventEvent("answered"), detail.History[len(detail.History)-1].Event)
	assert.Equal(t, "2026-10-03", r.askOf(c, "refer").Due, "a reaction of grade 2 asks for a referral within 7 days of being seen")
	for _, slot := range []string{"late-3", "late-6", "late-12"} {
		assert.Equal(t, ask.Open, r.askOf(c, slot).State)
	}
	assert.Equal(t, 400, r.ask("POST", path, token, `{"outcome":"seen","day":"2026-09-27","grade":0}`).status, "an answered ask wants a correction")
	r.ask("POST", path, token, `{"outcome":"seen","day":"2026-09-27","grade":0,"correction":"another patient's picture"}`).into(t, &detail)
	assert.Len(t, detail.History, 3, "made, answered, corrected: nothing is erased")
	assert.False(t, r.askOf(c, "refer").Holds)
	assert.Equal(t, ask.Open, r.askOf(c, "refer").State, "what a reaction asked for is left to people")
}

func TestOnlyAPhysicistSettlesAFollowUpLevel(t *testing.T) {
	r := newRig(t, nil)
	c := r.procedure(own)
	operator, _ := r.account(access.Operator, []string{own})
	token := r.physicist()
	var f httpapi.FollowUp
	r.ask("GET", "/v1/procedures/"+c.ID+"/follow-up", token, "").into(t, &f)
	require.Len(t, f.Flags, 1)
	path := "/v1/raised-flags/" + f.Flags[0].Id + "/settle"
	body := `{"ground":"%s","reason":"estimate is well below"}`
	assert.Equal(t, 403, r.ask("POST", path, operator, fmt.Sprintf(body, "measurement")).status)
	for _, ground := range []string{"estimate", "own-estimate", "follow-up"} {
		assert.Equal(t, 409, r.ask("POST", path, token, fmt.Sprintf(body, ground)).status, ground)
	}
	a := r.ask("POST", "/v1/procedures/"+c.ID+"/own-estimates", token, `{"value_gy":2,"low_gy":1.5,"high_gy":2.5,"method":"film","reason":"film was placed"}`)
	require.Equal(t, 201, a.status)
	a = r.ask("POST", path, token, fmt.Sprintf(body, "own-estimate"))
	require.Equal(t, 200, a.status, string(a.body))
	for slot, want := range map[string]ask.State{"early": ask.Settled, "month": ask.Settled, "review": ask.Settled, "record": ask.Open} {
		assert.Equal(t, want, r.askOf(c, slot).State, slot)
	}
	assert.Equal(t, 409, r.ask("POST", path, token, fmt.Sprintf(body, "measurement")).status, "once")
}

func TestACaseOfAnotherIsSeenByWhoIsAsked(t *testing.T) {
	r := newRig(t, nil)
	c := r.procedure(own)
	a, err := r.db.MakeAccount(context.Background(), actor, store.Account{Name: "second surgeon", Role: string(access.Operator), OwnCases: true})
	require.NoError(t, err)
	token := r.token(a, time.Hour).Text
	id := r.askOf(c, "inform").ID
	assert.Equal(t, 404, r.ask("GET", "/v1/asks/"+id, token, "").status)
	_, err = r.db.HandOverAsk(context.Background(), actor, id, a.ID, "on leave")
	require.NoError(t, err)
	assert.Equal(t, 200, r.ask("GET", "/v1/asks/"+id, token, "").status)
	var page httpapi.AskPage
	r.ask("GET", "/v1/asks?mine=true", token, "").into(t, &page)
	require.Len(t, page.Asks, 1)
	assert.Equal(t, id, page.Asks[0].Id)
	review := r.askOf(c, "review").ID
	assert.Equal(t, 403, r.ask("POST", "/v1/asks/"+review+"/answer", token, `{"outcome":"done","day":"2026-09-14"}`).status, "a physicist's")
}
