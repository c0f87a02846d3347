package httpapi_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/performed"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
	"afterbeam/internal/summary"
	"afterbeam/internal/summary/trend"
)

const september = "/v1/summaries/2026-09"

func TestSummaryOfAPeriod(t *testing.T) {
	r := newRig(t, nil)
	one := r.stranger("Hybrid 1")
	r.stranger("Cath 2")
	token := r.physicist()
	head := r.head()
	a := r.ask("GET", september, token, "")
	require.Equal(t, 200, a.status, string(a.body))
	var got summary.Summary
	a.into(t, &got)
	assert.Equal(t, []any{summary.Schema, "2026-09", 2}, []any{got.Schema, got.Period.Name, got.Counts.Cases})
	assert.Len(t, got.Substantial.Cases, 2)
	assert.Equal(t, []string{"summary.view 2026-09, 2 cases"}, r.actions(head))
	for path, want := range map[string]int{"/v1/summaries/2026-Q3": 2, "/v1/summaries/2026": 2, "/v1/summaries/2026-08": 0, september + "?room=Cath+2": 1, september + "?class=none": 0} {
		a = r.ask("GET", path, token, "")
		require.Equal(t, 200, a.status, "%s: %s", path, a.body)
		a.into(t, &got)
		assert.Equal(t, want, got.Counts.Cases, path)
	}
	for _, path := range []string{"/v1/summaries/2026-13", "/v1/summaries/2026-Q5", "/v1/summaries/soon", september + "?operators=names&leaving=true"} {
		assert.Equal(t, 400, r.ask("GET", path, token, "").status, path)
	}
	a = r.ask("GET", september+"?leaving=true", token, "")
	assert.NotContains(t, string(a.body), one.ID, "no list of cases leaves the department")
}

func TestSummaryForEachRole(t *testing.T) {
	r := newRig(t, nil)
	one, other := r.stranger("Hybrid 1"), r.stranger("Cath 2")
	step := performed.Step{
		Source: performed.SourceMPPS, Key: "2.25.77", StudyUID: one.StudyUID, State: performed.Completed,
		Start: procedure.Moment{Time: r.clock.Now(), Offset: procedure.OffsetOfSite}, Room: "Hybrid 1",
		Operators: []procedure.Person{{Name: "Operator^Ada", RoleInProcedure: procedure.Code{Value: "121094", Scheme: "DCM"}}},
	}
	_, err := r.db.CreateStep(context.Background(), actor, step)
	require.NoError(t, err)

	operator, _ := r.account(access.Operator, []string{"Hybrid 1"})
	a := r.ask("GET", september, operator, "")
	require.Equal(t, 200, a.status, string(a.body))
	var got summary.Summary
	a.into(t, &got)
	assert.True(t, got.Leaving)
	for _, hidden := range []string{one.ID, other.ID, "Cath 2", "Ada"} {
		assert.NotContains(t, string(a.body), hidden)
	}
	quality, _ := r.account(access.Quality, nil)
	a = r.ask("GET", september, quality, "")
	assert.NotContains(t, string(a.body), "Ada", "a pseudonym by default")
	assert.Contains(t, string(a.body), `"operator-`)
	assert.Equal(t, 403, r.ask("GET", september+"?operators=names", quality, "").status)
	assert.Contains(t, string(r.ask("GET", september+"?operators=names", r.physicist(), "").body), "Ada")

	own, err := r.db.MakeAccount(context.Background(), actor, store.Account{Name: "own cases", Role: "operator", OwnCases: true})
	require.NoError(t, err)
	assert.Equal(t, 403, r.ask("GET", september, r.token(own, time.Hour).Text, "").status)
}

func TestReviewOfACase(t *testing.T) {
	r := newRig(t, nil)
	token, c := r.physicist(), r.stranger("Hybrid 1")
	path := "/v1/procedures/" + c.ID + "/case-reviews"
	for body, want := range map[string]int{
		`{"version":1,"state":"appropriate","reason":""}`:          400,
		`{"version":1,"state":"safe","reason":"low dose"}`:         400,
		`{"version":2,"state":"appropriate","reason":"looked at"}`: 409,
	} {
		assert.Equal(t, want, r.ask("POST", path, token, body).status, body)
	}
	a := r.ask("POST", path, token, `{"version":1,"state":"opportunity","reason":"the detector could have been closer"}`)
	require.Equal(t, 201, a.status, string(a.body))
	var list httpapi.CaseReviewList
	r.ask("GET", path, token, "").into(t, &list)
	require.Len(t, list.Reviews, 1)
	assert.Equal(t, httpapi.CaseReviewState("opportunity"), list.Reviews[0].State)
	var got summary.Summary
	r.ask("GET", september, token, "").into(t, &got)
	require.Len(t, got.Review.Rows, 1)
	assert.Equal(t, summary.ReviewOpportunity, got.Review.Rows[0].State)
}

func TestActionsAreCarriedOn(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	a := r.ask("POST", "/v1/actions", token, `{"period":"2026-08","text":"look at the filters","owner":"physics","due_on":"2099-01-01"}`)
	require.Equal(t, 201, a.status, string(a.body))
	var made httpapi.PeriodAction
	a.into(t, &made)
	var got summary.Summary
	r.ask("GET", september, token, "").into(t, &got)
	require.Len(t, got.Actions, 1)
	assert.Equal(t, made.Id, got.Actions[0].ID)
	changes := "/v1/actions/" + made.Id + "/changes"
	assert.Equal(t, 400, r.ask("POST", changes, token, `{"event":"moved","text":"parts are late"}`).status)
	assert.Equal(t, 200, r.ask("POST", changes, token, `{"event":"closed","text":"filters are in"}`).status)
	a = r.ask("POST", changes, token, `{"event":"closed","text":"twice"}`)
	assert.Equal(t, 409, a.status)
	assert.Contains(t, string(a.body), "the action is closed")
	scoped, _ := r.account(access.Quality, []string{"Hybrid 1"})
	assert.Equal(t, 403, r.ask("POST", "/v1/actions", scoped, `{"period":"2026-09","text":"everywhere","owner":"all","due_on":"2099-01-01"}`).status, "the whole site is not theirs")
	var detail httpapi.ActionDetail
	r.ask("GET", "/v1/actions/"+made.Id, scoped, "").into(t, &detail)
	assert.Len(t, detail.History, 2)
}

func TestABaselineIsFrozen(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	var key string
	for i := range 21 {
		day := "2026-09-14"
		if i == 20 {
			day = "2026-10-01" // a chart is of those with a case in the period, and its baseline of what was before
		}
		_, report, job := r.report(store.Identity{Number: fmt.Sprint("B-", i), Issuer: "TEST"})
		r.save(job, store.Case{
			StudyUID: report.StudyUID, DeviceKey: report.DeviceKey, PatientID: report.PatientID, Room: "Hybrid 1", State: "complete", Start: r.clock.Now(),
			LocalDate: day, Class: "evar", FlagState: "below", Complete: true, KAP: quantity.Some(quantity.GraySquareMetre(0.01 + 0.001*float64(i%7))),
		}, fmt.Sprint("first ", i))
	}
	var got summary.Summary
	r.ask("GET", "/v1/summaries/2026-10", token, "").into(t, &got)
	for _, chart := range got.Charts {
		if chart.Kind == trend.ValueAndRange && chart.Baseline != nil {
			key = chart.Key
		}
	}
	require.NotEmpty(t, key, "twenty cases make a baseline")
	a := r.ask("POST", "/v1/chart-baselines", token, fmt.Sprintf(`{"chart":%q,"period":"2026-10","reason":"one protocol since spring"}`, key))
	require.Equal(t, 201, a.status, string(a.body))
	r.ask("GET", "/v1/summaries/2026-10", token, "").into(t, &got)
	for _, chart := range got.Charts {
		if chart.Key == key {
			assert.True(t, chart.Baseline.Frozen)
			assert.NotEmpty(t, chart.Baseline.FrozenBy)
		}
	}
	var list httpapi.BaselineList
	r.ask("GET", "/v1/chart-baselines", token, "").into(t, &list)
	require.Len(t, list.Baselines, 1)
	assert.Equal(t, key, list.Baselines[0].Chart)
	assert.Equal(t, 204, r.ask("POST", "/v1/chart-baselines/end", token, fmt.Sprintf(`{"chart":%q,"reason":"rebuilt"}`, key)).status)
	assert.Equal(t, 404, r.ask("POST", "/v1/chart-baselines/end", token, fmt.Sprintf(`{"chart":%q,"reason":"rebuilt"}`, key)).status)
}
