package web_test

import (
	"context"
	"fmt"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/performed"
	"afterbeam/internal/store"
	"afterbeam/internal/web/browsertest"
)

// named makes persons of the staff whom performed steps name.
func (r *rig) named(names ...string) []store.Person {
	r.t.Helper()
	for n, name := range names {
		_, err := r.db.CreateStep(context.Background(), store.System("test"), performed.Step{
			Source: performed.SourceMPPS, Key: fmt.Sprint("2.25.8", n), State: performed.Completed, Start: procedure.Moment{Time: r.clock.Now()}, Room: "Hybrid 1",
			Operators: []procedure.Person{{Name: name, ID: fmt.Sprint("OP-", n)}},
		})
		require.NoError(r.t, err)
	}
	all, err := r.db.Persons(context.Background(), store.PersonFilter{Limit: 100})
	require.NoError(r.t, err)
	require.Len(r.t, all, len(names))
	return all
}

// TestPeopleAreAssigned gives two persons accounts at once, ends one assignment, and names who hears of a room.
func TestPeopleAreAssigned(t *testing.T) {
	r := newRig(t, nil)
	people := r.named("Operator^Synthetic<b>", "Second^Synthetic")
	r.person(access.Admin, anyone, words)
	surgeon, quality := r.person(access.Operator, "surgeon", words), r.person(access.Quality, "counts", words)
	v := r.visitor()
	v.signIn(anyone, words)
	p := v.get("/people")
	require.Equal(t, http.StatusOK, p.status)
	assert.Contains(t, p.body, "Operator Synthetic&lt;b&gt;")
	assert.Contains(t, p.body, "surgeon (operator)")
	assert.NotContains(t, p.body, "counts (quality)", "who sees no cases is nobody of a case")
	assert.Equal(t, http.StatusUnprocessableEntity, v.post("/people", "reason", "staff list").status, "nobody was chosen")
	p = v.post("/people", "reason", "staff list", "account-"+people[0].ID, quality.ID)
	assert.Equal(t, http.StatusUnprocessableEntity, p.status)
	assert.Contains(t, p.body, "0 persons were assigned before that.")
	assert.Contains(t, p.body, `value="staff list"`, "what was typed stands")
	require.Equal(t, "/people?done=people-assigned", v.post("/people", "reason", "staff list", "account-"+people[0].ID, surgeon.ID, "account-"+people[1].ID, surgeon.ID).location)
	mapped, err := r.db.Persons(t.Context(), store.PersonFilter{Limit: 100})
	require.NoError(t, err)
	for _, one := range mapped {
		assert.Equal(t, surgeon.ID, one.Account)
	}
	assert.Contains(t, v.get("/people").body, "Everybody whom reports name has an account.")
	require.Equal(t, "/people?done=people-unassigned", v.post("/people/"+people[0].ID+"/unassign", "reason", "left").location)
	require.Equal(t, "/people?done=people-fallback", v.post("/people/fallback", "room", "Hybrid 1", "fallback", surgeon.ID, "fallback_reason", "head of the room").location)
	assert.Regexp(t, `(?s)<th scope="row">Hybrid 1</th><td>surgeon</td>`, v.get("/people").body)
	require.Equal(t, "/people?done=people-fallback", v.post("/people/fallback", "room", "Hybrid 1", "fallback", "", "fallback_reason", "nobody now").location)
	assert.Contains(t, v.get("/people").body, "No room has one")

	other := r.visitor()
	other.signIn("surgeon", words)
	assert.Equal(t, http.StatusForbidden, other.get("/people").status)
}

// TestPeopleInABrowser assigns an account with two clicks, and looks at the page light and dark, narrow and large.
func TestPeopleInABrowser(t *testing.T) {
	r := newRig(t, nil)
	person := r.named("Operator^Synthetic", "Second^Synthetic")[0]
	r.person(access.Admin, anyone, words)
	surgeon := r.person(access.Operator, "surgeon", words)
	w := browsertest.Open(t, r.server.URL)
	w.SignIn(anyone, words)
	w.Go("/people")
	w.NoClicks()
	w.Choose("select[name=account-"+person.ID+"]", surgeon.ID)
	w.Fill("#reason", "staff list")
	w.Click("form[action='/people'] button.main")
	w.WaitForText("The accounts are assigned.")
	assert.Equal(t, 2, w.Clicks(), "the account, and assign")
	w.AxeInBothThemes()
	w.Picture("people")
	w.Size(320, 800)
	w.FitsWidth()
	w.Picture("people-narrow")
	w.Size(1280, 900)
	assert.Contains(t, browsertest.TextOf(t, w.Print()), "Second Synthetic")
	w.Zoom(200)
	w.FitsWidth()
}
