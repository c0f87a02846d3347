package httpapi_test

import (
	"context"
	"encoding/json"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/store"
)

func search(number string) string {
	return fmt.Sprintf(`{"number":%q,"issuer":%q}`, number, plantedIssuer)
}

func TestPatientIsFoundByNumberInTheBody(t *testing.T) {
	r := newRig(t, nil)
	c := r.procedure(other)
	before := r.head()
	var found httpapi.PatientList
	r.ask("POST", "/v1/patients/search", r.physicist(), search(plantedNumber)).into(t, &found)
	require.Len(t, found.Patients, 1)
	assert.Equal(t, httpapi.Patient{
		Id: c.PatientID, SurvivorId: c.PatientID, Number: plantedNumber, Issuer: plantedIssuer, Name: plantedName, BirthDate: plantedBirth, Sex: "F",
		IdentityReviews: []string{},
	}, found.Patients[0])
	assert.Contains(t, r.actions(before), "patient.find "+c.PatientID)

	operator, _ := r.account(access.Operator, []string{own})
	before = r.head()
	r.ask("POST", "/v1/patients/search", operator, search(plantedNumber)).into(t, &found)
	assert.Empty(t, found.Patients, "the patient has no case in the operator's room")
	assert.Equal(t, []string{"patient.find 0 patients"}, r.actions(before))
	r.procedure(own)
	r.ask("POST", "/v1/patients/search", operator, search(" "+plantedNumber+" ")).into(t, &found)
	assert.Len(t, found.Patients, 1, "spaces around a number mean nothing")
	assert.Equal(t, 400, r.ask("POST", "/v1/patients/search", operator, search("  ")).status)
	for _, action := range r.actions(0) {
		for _, secret := range planted() {
			assert.NotContains(t, action, secret)
		}
	}
}

func TestCumulativeDose(t *testing.T) {
	r := newRig(t, nil)
	mine, theirs := r.procedure(own), r.procedure(other)
	require.Equal(t, mine.PatientID, theirs.PatientID)
	path := "/v1/patients/" + mine.PatientID + "/dose"
	before := r.head()
	var whole, part httpapi.CumulativeDose
	r.ask("GET", path, r.physicist(), "").into(t, &whole)
	assert.Len(t, whole.Procedures, 2)
	assert.Equal(t, 0, whole.Elsewhere)
	assert.Equal(t, "2026-09-14", whole.AsOf)
	require.NotNil(t, whole.LatestMap)
	assert.Equal(t, "/v1/procedures/"+theirs.ID+"/map", *whole.LatestMap)
	require.Len(t, whole.Windows, 2)
	assert.Nil(t, whole.Windows[1].Days, "all time")
	assert.Nil(t, whole.Windows[1].From)
	assert.Equal(t, 11.0, *whole.Windows[1].KermaGy)
	assert.Equal(t, 2, whole.Windows[1].KermaFrom)
	assert.Nil(t, whole.Windows[0].KermaGy, "unknown is null and no 0")
	assert.Contains(t, r.actions(before), "dose.view "+mine.PatientID)
	assert.Nil(t, whole.Windows[0].PeakSkinMappedGy)
	assert.Nil(t, whole.Windows[0].PeakSkinMappedPlace)
	require.Len(t, whole.Windows[1].PeakSkinShares, 2)
	assert.Equal(t, theirs.ID, *whole.Windows[1].PeakSkinShares[1].ProcedureId)

	operator, _ := r.account(access.Operator, []string{own})
	r.ask("GET", path+"?as_of=2026-09-20", operator, "").into(t, &part)
	require.Len(t, part.Procedures, 1)
	assert.Equal(t, mine.ID, part.Procedures[0].Id)
	assert.Equal(t, 1, part.Elsewhere)
	assert.Equal(t, "/v1/procedures/"+mine.ID+"/map", *part.LatestMap)
	assert.Equal(t, "2026-09-20", part.AsOf)
	require.Len(t, part.Windows[1].PeakSkinShares, 2)
	assert.Equal(t, mine.ID, *part.Windows[1].PeakSkinShares[0].ProcedureId)
	assert.Nil(t, part.Windows[1].PeakSkinShares[1].ProcedureId, "another room's procedure is not named")
	assert.Equal(t, 11.0, *part.Windows[1].KermaGy, "the sum holds what the skin received in any room")
	assert.Equal(t, 400, r.ask("GET", path+"?as_of=2026-13-01", operator, "").status)
	assert.Equal(t, 404, r.ask("GET", "/v1/patients/aaaaaaaaaaaaaaaaaaaaaaaa/dose", operator, "").status)
}

func TestLinksJoinTheDoseAndGoBack(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	a, b := r.stranger(own), r.stranger(own)
	count := func() int {
		var d httpapi.CumulativeDose
		r.ask("GET", "/v1/patients/"+a.PatientID+"/dose", token, "").into(t, &d)
		return len(d.Procedures)
	}
	require.Equal(t, 1, count())
	path := "/v1/patients/" + a.PatientID + "/links"
	link := func(to string) answer {
		body, err := json.Marshal(map[string]string{"other_patient": to, "reason": "same person, two issuers"})
		require.NoError(t, err)
		return r.ask("POST", path, token, string(body))
	}
	assert.Equal(t, 400, link(a.PatientID).status)
	assert.Equal(t, 404, link("aaaaaaaaaaaaaaaaaaaaaaaa").status)
	made := link(b.PatientID)
	assert.Equal(t, 409, link(b.PatientID).status, "linked already")
	require.Equal(t, 201, made.status)
	var l httpapi.Link
	made.into(t, &l)
	assert.Equal(t, 2, count())
	var list httpapi.LinkList
	r.ask("GET", path, token, "").into(t, &list)
	assert.Len(t, list.Links, 1)
	assert.Equal(t, 204, r.ask("POST", "/v1/links/"+l.Id+"/undo", token, reason).status)
	assert.Equal(t, 1, count())
	assert.Equal(t, 404, r.ask("POST", "/v1/links/"+l.Id+"/undo", token, reason).status)
}

func TestReviews(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	for range 3 {
		r.report(store.Identity{Sex: "M"})
	}
	before := r.head()
	var first, second httpapi.ReviewPage
	r.ask("GET", "/v1/reviews?limit=2", token, "").into(t, &first)
	require.Len(t, first.Reviews, 2)
	assert.Equal(t, []string{"reviews.list 2 reviews"}, r.actions(before))
	require.NotNil(t, first.Next)
	assert.Equal(t, 204, r.ask("POST", "/v1/reviews/"+*first.Next+"/settle", token, reason).status)
	r.ask("GET", "/v1/reviews?limit=2&after="+*first.Next, token, "").into(t, &second)
	assert.Len(t, second.Reviews, 1, "a settled review still is a place in the list")
	assert.Nil(t, second.Next)
}

// TestAViewThatCannotBeRecordedIsNotAnswered closes the audit record and asks on.
func TestAViewThatCannotBeRecordedIsNotAnswered(t *testing.T) {
	r := newRig(t, nil)
	c := r.procedure(own)
	token := r.physicist()
	broken := blind{r.db}
	r.rebuild(broken)
	for _, path := range []string{
		"/v1/procedures", "/v1/flags", "/v1/procedures/" + c.ID, "/v1/procedures/" + c.ID + "/facts", "/v1/procedures/" + c.ID + "/events",
		"/v1/procedures/" + c.ID + "/estimates", "/v1/procedures/" + c.ID + "/estimates/1", "/v1/procedures/" + c.ID + "/map",
		"/v1/patients/" + c.PatientID, "/v1/patients/" + c.PatientID + "/dose", "/v1/patients/" + c.PatientID + "/map", "/v1/patients/" + c.PatientID + "/links", "/v1/reviews",
	} {
		a := r.ask("GET", path, token, "")
		assert.Equal(t, 503, a.status, path)
		assert.Equal(t, "5", a.header.Get("Retry-After"))
	}
	assert.Equal(t, 503, r.ask("POST", "/v1/patients/search", token, search(plantedNumber)).status)
	assert.Equal(t, 503, r.ask("POST", "/v1/patients/"+c.PatientID+"/beam-plans", token, `{"grid":{"kerma_gy":1}}`).status)
	assert.Equal(t, 503, r.ask("GET", "/v1/receipts/"+r.receipt("x").ID+"/file", token, "").status)
}

// blind is a store whose audit record takes no views.
type blind struct{ *store.DB }

func (blind) Viewed(context.Context, store.Actor, string, string, string) error {
	return store.ErrUnavailable
}

// An answer that was given before is given again only while it is still what the store holds, to those it is for.
func TestCumulativeDoseIsNeverStale(t *testing.T) {
	r := newRig(t, nil)
	first := r.procedure(own)
	path, physicist := "/v1/patients/"+first.PatientID+"/dose", r.physicist()
	operator, _ := r.account(access.Operator, []string{own})
	before := r.head()
	var one, again, more httpapi.CumulativeDose
	r.ask("GET", path, physicist, "").into(t, &one)
	r.ask("GET", path, physicist, "").into(t, &again)
	assert.Equal(t, one, again)
	assert.Equal(t, []string{"dose.view " + first.PatientID, "dose.view " + first.PatientID}, r.actions(before), "each view has its record")

	r.procedure(other)
	r.ask("GET", path, physicist, "").into(t, &more)
	assert.Len(t, more.Procedures, 2, "a new procedure")
	r.ask("GET", path, operator, "").into(t, &more)
	assert.Len(t, more.Procedures, 1, "an account of one room is not told what was remembered for others")
	r.ask("GET", path+"?as_of=2026-01-01", physicist, "").into(t, &more)
	assert.Equal(t, "2026-01-01", more.AsOf)

	stranger := identity()
	stranger.Number = "another number"
	linked := r.procedureOf(own, stranger)
	r.ask("GET", path, physicist, "").into(t, &again)
	link := fmt.Sprintf(`{"other_patient":%q,"reason":"same person"}`, linked.PatientID)
	require.Equal(t, 201, r.ask("POST", "/v1/patients/"+first.PatientID+"/links", physicist, link).status)
	r.ask("GET", path, physicist, "").into(t, &more)
	assert.Len(t, more.Procedures, len(again.Procedures)+1, "a link")
}

// What was reported and never assessed is in no sum: the answer says so, and why.
func TestDoseTellsWhatWasNotAssessed(t *testing.T) {
	r := newRig(t, nil)
	c := r.procedure(own)
	path, physicist := "/v1/patients/"+c.PatientID+"/dose", r.physicist()
	scoped, _ := r.account(access.Physicist, []string{own})
	dose := func(token string) (d httpapi.CumulativeDose) {
		r.ask("GET", path, token, "").into(t, &d)
		return d
	}
	assert.Empty(t, dose(physicist).WithoutAssessment)
	_, report, j := r.report(identity())
	for {
		require.NoError(t, r.db.Retry(context.Background(), j, "a defect", r.clock.Now()))
		if j.Attempt == store.MaxAttempts {
			break
		}
		assert.Equal(t, "waiting", string(dose(physicist).WithoutAssessment[0].State))
		j = r.lease(store.JobAssess)
	}
	d := dose(physicist)
	require.Len(t, d.WithoutAssessment, 1)
	one := d.WithoutAssessment[0]
	assert.Equal(t, []string{"failed", report.StudyUID, report.DeviceKey}, []string{string(one.State), *one.StudyUid, *one.Device})
	assert.Nil(t, one.ProcedureId)
	assert.Contains(t, one.Reason, "not tried again until somebody asks")
	assert.Len(t, d.Procedures, 1, "a procedure that was not estimated is none of 0 Gy")
	hidden := dose(scoped).WithoutAssessment
	require.Len(t, hidden, 1, "told to who sees one room as well")
	assert.Nil(t, hidden[0].StudyUid)
	assert.Nil(t, hidden[0].Device)
}
