package web_test

import (
	"fmt"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/audit"
	"afterbeam/internal/store"
	"afterbeam/internal/web/browsertest"
)

// noted leaves records by which filters can be told apart.
func (r *rig) noted(by store.Account) {
	r.t.Helper()
	for n := range 60 {
		actor, outcome := store.System("pipeline"), "done"
		if n%20 == 0 {
			actor, outcome = store.Actor{Account: by.ID, Role: "operator", Source: "192.0.2.7"}, "refused"
		}
		require.NoError(r.t, r.db.Note(r.t.Context(), actor, audit.Record{Action: "case.view", Object: fmt.Sprintf("object<b>%d", n), Outcome: outcome, Reason: "seen"}))
	}
}

// TestTheAuditPage narrows the record by who, what, outcome and day, goes back in it, and has the chain checked.
func TestTheAuditPage(t *testing.T) {
	r := newRig(t, nil)
	r.planted(1)
	r.person(access.Auditor, anyone, words)
	surgeon := r.person(access.Operator, "surgeon", words)
	r.noted(surgeon)
	v := r.visitor()
	v.signIn(anyone, words)
	p := v.get("/audit")
	require.Equal(t, http.StatusOK, p.status)
	assert.Contains(t, p.body, "object&lt;b&gt;59", "the newest first")
	assert.NotContains(t, p.body, "object&lt;b&gt;5<", "a page of 50")
	assert.Contains(t, p.body, "Older records")
	assert.NotContains(t, p.body, plantedName)
	p = v.get("/audit?actor=Surgeon&action=case&outcome=refused")
	for _, want := range []string{"object&lt;b&gt;0", "object&lt;b&gt;20", "object&lt;b&gt;40", "192.0.2.7", "The record begins here."} {
		assert.Contains(t, p.body, want)
	}
	assert.NotContains(t, p.body, "object&lt;b&gt;41")
	assert.Contains(t, v.get("/audit?actor=pipeline&object=object%3Cb%3E5&from=2026-09-14&to=2026-09-14").body, "object&lt;b&gt;59")
	assert.Contains(t, v.get("/audit?from=2026-09-15").body, "Nothing of that kind is on record.")
	assert.Equal(t, http.StatusUnprocessableEntity, v.get("/audit?from=yesterday").status)
	p = v.post("/audit/verify")
	assert.Contains(t, p.body, "The record is whole.")
	assert.Contains(t, p.body, "every record follows the one before it")

	other := r.visitor()
	other.signIn("surgeon", words)
	assert.Equal(t, http.StatusForbidden, other.get("/audit").status)
}

// TestTheAuditInABrowser checks the chain with one click, and looks at the page light and dark, narrow and large.
func TestTheAuditInABrowser(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Auditor, anyone, words)
	r.noted(r.person(access.Operator, "surgeon", words))
	w := browsertest.Open(t, r.server.URL)
	w.SignIn(anyone, words)
	w.Go("/audit")
	w.NoClicks()
	w.Click("form[action='/audit/verify'] button")
	w.WaitForText("The record is whole.")
	assert.Equal(t, 1, w.Clicks())
	w.AxeInBothThemes()
	w.Picture("audit")
	w.Size(320, 800)
	w.FitsWidth()
	w.Size(1280, 900)
	assert.Contains(t, browsertest.TextOf(t, w.Print()), "case.view")
	w.Zoom(200)
	w.FitsWidth()
}
