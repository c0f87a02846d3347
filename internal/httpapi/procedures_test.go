package httpapi_test

import (
	"context"
	"net/url"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/store"
)

func TestProcedureByTag(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	c := r.procedure(own)
	path := "/v1/procedures/" + c.ID
	before := r.head()
	first := r.ask("GET", path, token, "")
	require.Equal(t, 200, first.status)
	var detail httpapi.ProcedureDetail
	first.into(t, &detail)
	assert.JSONEq(t, `{"kerma_gy":5.500}`, string(detail.Assessment))
	assert.Contains(t, string(first.body), "5.500", "the assessment is given as it was stored")
	assert.Equal(t, 500.0, *detail.Procedure.Dose.KapGyCm2, "0.05 Gy m2")
	assert.Equal(t, 31.0, *detail.Procedure.EffectiveDose.Value)
	assert.Nil(t, detail.Procedure.EffectiveDose.Low, "unknown is null")
	assert.Nil(t, detail.Procedure.Dose.FluoroscopyMin, "unknown is null")
	etag := first.header.Get("ETag")
	assert.Equal(t, `"1-0"`, etag)

	same := r.ask("GET", path, token, "", "If-None-Match", `"7-7", `+etag)
	assert.Equal(t, 304, same.status)
	assert.Empty(t, same.body)
	assert.Equal(t, etag, same.header.Get("ETag"))
	assert.Equal(t, []string{"procedure.view " + c.ID, "procedure.view " + c.ID}, r.actions(before), "also what the caller has already is a view")

	facts := `{"height_cm":171.5,"class":"evar","posture":"prone","arms":"alongside","source":"chart","reason":"not in the report"}`
	for name, tt := range map[string]struct {
		body   string
		match  string
		status int
	}{
		"no If-Match":          {facts, "", 428},
		"any state":            {facts, "*", 428},
		"another state":        {facts, `"1-9"`, 412},
		"a weak tag":           {facts, "W/" + etag, 412},
		"no fact":              {`{"source":"chart","reason":"nothing"}`, etag, 400},
		"no such class":        {`{"class":"carpentry","source":"chart","reason":"typed wrong"}`, etag, 400},
		"no such arms":         {`{"arms":"folded","source":"chart","reason":"typed wrong"}`, etag, 400},
		"too tall":             {`{"height_cm":1715,"source":"chart","reason":"typed wrong"}`, etag, 400},
		"unknown property":     {`{"shoe_size":43,"source":"chart","reason":"typed wrong"}`, etag, 400},
		"property in capitals": {`{"HEIGHT_CM":1715,"source":"chart","reason":"typed wrong"}`, etag, 400},
		"no reason":            {`{"height_cm":171,"source":"chart"}`, etag, 400},
		"no JSON":              {`{"height_cm":`, etag, 400},
	} {
		headers := []string{}
		if tt.match != "" {
			headers = []string{"If-Match", tt.match}
		}
		assert.Equal(t, tt.status, r.ask("PATCH", path+"/facts", token, tt.body, headers...).status, name)
	}
	list, err := r.db.Facts(context.Background(), c.ID)
	require.NoError(t, err)
	require.Empty(t, list, "nothing refused was added")

	added := r.ask("PATCH", path+"/facts", token, facts, "If-Match", etag)
	require.Equal(t, 202, added.status, string(added.body))
	var got httpapi.FactList
	added.into(t, &got)
	values := map[string]string{}
	for _, f := range got.Facts {
		values[f.Name] = f.Value
	}
	assert.Equal(t, map[string]string{"height_cm": "171.5", "class": "evar", "posture": "prone", "arms": "alongside"}, values)
	r.lease(store.JobAssess)
	assert.Equal(t, 412, r.ask("PATCH", path+"/facts", token, facts, "If-Match", etag).status, "the tag moved with the facts")
	moved := r.ask("GET", path, token, "", "If-None-Match", etag)
	assert.Equal(t, 200, moved.status)
	assert.Equal(t, `"1-4"`, moved.header.Get("ETag"))
}

func TestEstimatesEventsAndMap(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	_, report, j := r.report(identity())
	c := store.Case{StudyUID: report.StudyUID, DeviceKey: "device", PatientID: report.PatientID, Room: own, State: "complete"}
	c = r.save(j, c, "first")
	ctx := context.Background()
	tag, err := r.db.Tag(ctx, c.ID)
	require.NoError(t, err)
	require.NoError(t, r.db.AddFacts(ctx, actor, c.ID, tag, []store.Fact{{Name: "height_cm", Value: "171", Source: "s", Reason: "r"}}))
	c = r.save(r.lease(store.JobAssess), c, "second")
	path := "/v1/procedures/" + c.ID
	before := r.head()

	var list httpapi.EstimateList
	r.ask("GET", path+"/estimates", token, "").into(t, &list)
	require.Len(t, list.Versions, 2)
	assert.Equal(t, 2, list.Versions[0].Version)
	var old, newest httpapi.EstimateDetail
	r.ask("GET", path+"/estimates/1", token, "").into(t, &old)
	a := r.ask("GET", path+"/estimates/2", token, "")
	a.into(t, &newest)
	assert.Equal(t, []any{1, false, "first", 2, true, "second"}, []any{old.Version, old.Newest, old.Digest, newest.Version, newest.Newest, newest.Digest})
	assert.Equal(t, 304, r.ask("GET", path+"/estimates/2", token, "", "If-None-Match", a.header.Get("ETag")).status)
	assert.Equal(t, 304, r.ask("GET", path+"/estimates/2", token, "", "If-None-Match", "W/"+a.header.Get("ETag")).status, "weakly the same is the same")
	assert.Equal(t, 404, r.ask("GET", path+"/estimates/3", token, "").status)
	assert.Equal(t, 400, r.ask("GET", path+"/estimates/0", token, "").status)

	var events httpapi.EventList
	r.ask("GET", path+"/events?version=1", token, "").into(t, &events)
	require.Len(t, events.Events, 1)
	assert.Equal(t, 75.0, *events.Events[0].Kilovolt)
	assert.Nil(t, events.Events[0].KermaGy)
	assert.Nil(t, events.Events[0].Start, "an unknown time is null and no year 1")

	for format, want := range map[string][2]string{
		"": {"image/png", "picture"}, "?format=png": {"image/png", "picture"}, "?format=svg&version=1": {"image/svg+xml", "picture"},
		"?format=json": {"application/json", `{"peak_gy":1.5}`},
	} {
		a := r.ask("GET", path+"/map"+format, token, "")
		assert.Equal(t, 200, a.status)
		assert.Equal(t, want, [2]string{a.header.Get("Content-Type"), string(a.body)})
	}
	assert.Equal(t, 400, r.ask("GET", path+"/map?format=bmp", token, "").status)
	actions := r.actions(before)
	for _, want := range []string{"estimates.list " + c.ID, "estimate.view " + c.ID + "/1", "estimate.view " + c.ID + "/2", "events.list " + c.ID + "/1", "map.view " + c.ID + "/2"} {
		assert.Contains(t, actions, want)
	}
}

// TestPagesVisitEveryRowOnce pages while procedures are added at both ends.
func TestPagesVisitEveryRowOnce(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	want := map[string]int{}
	for range 11 {
		want[r.procedure(own).ID] = 1
	}
	for path, ids := range map[string]func(answer) ([]string, *string){
		"/v1/procedures": func(a answer) ([]string, *string) {
			var p httpapi.ProcedurePage
			a.into(t, &p)
			var all []string
			for _, one := range p.Procedures {
				all = append(all, one.Id)
			}
			return all, p.Next
		},
		"/v1/flags": func(a answer) ([]string, *string) {
			var p httpapi.FlagPage
			a.into(t, &p)
			var all []string
			for _, one := range p.Flags {
				all = append(all, one.Procedure.Id)
			}
			return all, p.Next
		},
	} {
		got := map[string]int{}
		query, pages := "?limit=3", 0
		for query != "" {
			a := r.ask("GET", path+query, token, "")
			require.Equal(t, 200, a.status)
			page, next := ids(a)
			assert.LessOrEqual(t, len(page), 3)
			for _, id := range page {
				got[id]++
			}
			query = ""
			if next != nil {
				query = "?limit=3&after=" + *next
			}
			pages++
			r.procedure(own) // newer than every page still to come
		}
		for id, n := range want {
			assert.Equal(t, n, got[id], "%s: %s", path, id)
		}
		assert.GreaterOrEqual(t, pages, 4)
	}
}

func TestFiltersOfProcedures(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	r.procedure(own)
	r.procedure(other)
	for query, want := range map[string]int{
		"":                              2,
		"room=" + url.QueryEscape(own):  1,
		"room=Nowhere":                  0,
		"class=evar":                    2,
		"class=tavi":                    0,
		"flag=reached":                  2,
		"flag=near":                     0,
		"state=complete":                2,
		"state=amended":                 0,
		"from=2026-09-14&to=2026-09-14": 2,
		"from=2026-09-15":               0,
		"to=2026-09-13":                 0,
		"limit=1":                       1,
	} {
		a := r.ask("GET", "/v1/procedures?"+query, token, "")
		require.Equal(t, 200, a.status, query)
		var p httpapi.ProcedurePage
		a.into(t, &p)
		assert.Len(t, p.Procedures, want, query)
	}
	for _, query := range []string{
		"rom=Nowhere", "limit=0", "limit=501", "limit=x", "limit=", "from=2026-02-30", "from=2026-09-15&to=2026-09-14", "after=x", "after=aaaaaaaaaaaaaaaaaaaaaaaa", "state=gone", "room=a&room=b", "room=%zz", "a;b",
		"number=" + plantedNumber, plantedNumber, "limit=" + plantedNumber,
	} {
		assert.Equal(t, 400, r.ask("GET", "/v1/procedures?"+query, token, "").status, query)
	}
}

// TestScopedListsHoldOnlyOwnRooms counts what an operator of one room is given.
func TestScopedListsHoldOnlyOwnRooms(t *testing.T) {
	r := newRig(t, nil)
	mine := r.procedure(own)
	r.procedure(other)
	token, _ := r.account(access.Operator, []string{own})
	var p httpapi.ProcedurePage
	r.ask("GET", "/v1/procedures", token, "").into(t, &p)
	require.Len(t, p.Procedures, 1)
	assert.Equal(t, mine.ID, p.Procedures[0].Id)
	r.ask("GET", "/v1/procedures?room="+url.QueryEscape(other), token, "").into(t, &p)
	assert.Empty(t, p.Procedures)
	var f httpapi.FlagPage
	r.ask("GET", "/v1/flags", token, "").into(t, &f)
	require.Len(t, f.Flags, 1)
	assert.Equal(t, mine.ID, f.Flags[0].Procedure.Id)
}
