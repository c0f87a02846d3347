package httpapi_test

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/performed"
	"afterbeam/internal/store"
)

// performed makes a performed procedure of the planted patient in a room, and gives its id.
func (r *rig) performed(room string) string {
	r.t.Helper()
	r.cases++
	id, err := r.db.CreateStep(context.Background(), actor, performed.Step{
		Source: performed.SourceMPPS, Key: fmt.Sprint("2.25.8", r.cases), StudyUID: fmt.Sprint("2.25.9", r.cases), State: performed.Completed,
		Start: procedure.Moment{Time: r.clock.Now().AddDate(0, 0, -3)}, Room: room,
		Patient: performed.Patient{Number: plantedNumber, Issuer: plantedIssuer, Name: plantedName, BirthDate: plantedBirth, Sex: "F"},
	})
	require.NoError(r.t, err)
	return id
}

func performedIn(path string) func(*rig, string) (string, string, []string) {
	return func(r *rig, room string) (string, string, []string) {
		r.performed(room)
		r.procedure(room)
		return path, "", nil
	}
}

// person makes a performed procedure with an operator of its own, and gives the person's id.
func (r *rig) person(room string) string {
	r.t.Helper()
	r.cases++
	number := fmt.Sprint("OP-", r.cases)
	_, err := r.db.CreateStep(context.Background(), actor, performed.Step{
		Source: performed.SourceMPPS, Key: fmt.Sprint("2.25.8", r.cases), State: performed.Completed, Start: procedure.Moment{Time: r.clock.Now()}, Room: room,
		Operators: []procedure.Person{{Name: "Operator^Synthetic", ID: number}},
	})
	require.NoError(r.t, err)
	last := ""
	for {
		all, err := r.db.Persons(context.Background(), store.PersonFilter{After: last, Limit: 100})
		require.NoError(r.t, err)
		for _, p := range all {
			if p.Number == number {
				return p.ID
			}
			last = p.ID
		}
		require.NotEmpty(r.t, all)
	}
}

var csvType = []string{"Content-Type", "text/csv"}

func TestImportThenCompleteness(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	c := r.procedure(own)
	day := c.Start.UTC().Format("2006-01-02T15:04")
	table := "study_uid,accession_number,start,room,patient_id,patient_id_issuer,height_cm,excluded\n" +
		fmt.Sprintf("%s,A-1,%s,%s,%s,%s,171,\n", c.StudyUID, day, own, plantedNumber, plantedIssuer) +
		fmt.Sprintf("2.25.404,A-2,2026-09-10T09:00,%s,%s,,,\n", own, plantedNumber) +
		"2.25.405,A-3,2026-09-10T10:00,Cath 2,=1+1,,,\n" +
		"2.25.406,A-4,2026-09-10T11:00,Cath 2,,,,not x-ray\n"
	var got httpapi.ImportResult
	r.ask(http.MethodPost, "/v1/performed", token, table, csvType...).into(t, &got)
	assert.Equal(t, 3, got.Added)
	assert.Equal(t, 1, got.Refused)
	require.Len(t, got.Problems, 1)
	assert.Contains(t, got.Problems[0], "line 4, column patient_id")
	r.ask(http.MethodPost, "/v1/performed", token, table, csvType...).into(t, &got)
	assert.Equal(t, []int{0, 0, 3}, []int{got.Added, got.Changed, got.Same}, "the same table again changes nothing")
	r.ask(http.MethodPost, "/v1/performed", token, strings.Replace(table, "A-2", "A-22", 1), csvType...).into(t, &got)
	assert.Equal(t, []int{0, 1, 2}, []int{got.Added, got.Changed, got.Same})

	var all httpapi.Completeness
	const period = "/v1/completeness?from=2026-09-01&to=2026-09-14"
	r.ask(http.MethodGet, period, token, "").into(t, &all)
	assert.Equal(t, []int{3, 1, 0, 1, 1, 0}, []int{all.Performed, all.Missing, all.Elsewhere, all.Reported, all.Excluded, all.Unannounced})
	var pages []httpapi.CompletenessRow
	next := ""
	for range 4 {
		var one httpapi.Completeness
		r.ask(http.MethodGet, period+"&limit=1"+next, token, "").into(t, &one)
		pages = append(pages, one.Rows...)
		if one.Next == nil {
			break
		}
		next = "&after=" + *one.Next
	}
	assert.Equal(t, all.Rows, pages)
	var missing httpapi.Completeness
	r.ask(http.MethodGet, period+"&outcome=missing", token, "").into(t, &missing)
	require.Len(t, missing.Rows, 1)
	assert.Equal(t, "A-22", missing.Rows[0].AccessionNumber)
	assert.NotEmpty(t, missing.Rows[0].Why)
	var detail httpapi.PerformedDetail
	r.ask(http.MethodGet, "/v1/performed/"+missing.Rows[0].PerformedIds[0], token, "").into(t, &detail)
	assert.Equal(t, plantedNumber, detail.PatientNumber)
	assert.Len(t, detail.Versions, 2)
	facts, err := r.db.Facts(context.Background(), c.ID)
	require.NoError(t, err)
	require.Len(t, facts, 1)
	assert.Equal(t, store.Fact{Name: "height_cm", Value: "171", Source: store.SourcePerformed}, store.Fact{Name: facts[0].Name, Value: facts[0].Value, Source: facts[0].Source})
}

func TestImportRefusals(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	for name, tt := range map[string]struct {
		body, mediaType string
		status          int
	}{
		"other type":     {"study_uid,start\n", "text/plain", 415},
		"other charset":  {"study_uid,start\n", "text/csv; charset=utf-16", 415},
		"no head":        {plantedNumber + ",2026-09-14\n", "text/csv", 400},
		"Latin-1":        {"study_uid,start\n", "text/csv; charset=ISO-8859-1", 200},
		"unknown period": {"", "", 400},
	} {
		t.Run(name, func(t *testing.T) {
			if tt.body == "" {
				assert.Equal(t, tt.status, r.ask(http.MethodGet, "/v1/completeness?from=2020-01-01&to=2026-01-01", token, "").status)
				assert.Equal(t, tt.status, r.ask(http.MethodGet, "/v1/completeness", token, "").status)
				return
			}
			assert.Equal(t, tt.status, r.ask(http.MethodPost, "/v1/performed", token, tt.body, "Content-Type", tt.mediaType).status)
		})
	}
}

// An operator of own cases sees those in which its persons took part, everywhere by one rule, until that is ended.
func TestOwnCases(t *testing.T) {
	r := newRig(t, nil)
	admin, _ := r.account(access.Admin, nil)
	a, err := r.db.MakeAccount(context.Background(), actor, store.Account{Name: "surgeon", Role: string(access.Operator), OwnCases: true})
	require.NoError(t, err)
	token := r.token(a, time.Hour).Text
	mine, others := r.stranger(own), r.stranger(own)
	for _, c := range []store.Case{mine, others} {
		_, err := r.db.CreateStep(context.Background(), actor, performed.Step{
			Source: performed.SourceMPPS, Key: "2.25.1" + c.StudyUID, StudyUID: c.StudyUID, State: performed.Completed,
			Start: procedure.Moment{Time: c.Start}, Operators: []procedure.Person{{Name: "Operator^" + c.ID, ID: c.ID}},
		})
		require.NoError(t, err)
	}
	seen := func() []string {
		var page httpapi.ProcedurePage
		r.ask(http.MethodGet, "/v1/procedures", token, "").into(t, &page)
		ids := []string{}
		for _, p := range page.Procedures {
			ids = append(ids, p.Id)
		}
		var flags httpapi.FlagPage
		r.ask(http.MethodGet, "/v1/flags", token, "").into(t, &flags)
		assert.Len(t, flags.Flags, len(ids))
		return ids
	}
	assert.Empty(t, seen())
	var people httpapi.PersonPage
	r.ask(http.MethodGet, "/v1/people?has_account=false", admin, "").into(t, &people)
	require.Len(t, people.People, 2)
	who := people.People[0]
	if who.Number != mine.ID {
		who = people.People[1]
	}
	assert.Equal(t, 1, who.Procedures)
	body := fmt.Sprintf(`{"account_id":%q,"reason":"staff list"}`, a.ID)
	require.Equal(t, 204, r.ask(http.MethodPost, "/v1/people/"+who.Id+"/assign", admin, body).status)
	assert.Equal(t, 409, r.ask(http.MethodPost, "/v1/people/"+who.Id+"/assign", admin, body).status)
	assert.Equal(t, []string{mine.ID}, seen())
	for path, want := range map[string]int{
		"/v1/procedures/" + mine.ID: 200, "/v1/procedures/" + others.ID: 404, "/v1/procedures/" + others.ID + "/map": 404,
		"/v1/patients/" + mine.PatientID: 200, "/v1/patients/" + others.PatientID: 404, "/v1/patients/" + others.PatientID + "/dose": 404,
	} {
		assert.Equal(t, want, r.ask(http.MethodGet, path, token, "").status, path)
	}
	require.Equal(t, 204, r.ask(http.MethodPost, "/v1/people/"+who.Id+"/unassign", admin, `{"reason":"left the site"}`).status)
	assert.Empty(t, seen())
	assert.Equal(t, 404, r.ask(http.MethodGet, "/v1/procedures/"+mine.ID, token, "").status)
}
