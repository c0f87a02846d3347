package web_test

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/web/browsertest"
)

// TestReleasesInABrowser has one person ask for a release and another approve it, and looks at the page light and dark, narrow,
// in German and on paper.
func TestReleasesInABrowser(t *testing.T) {
	r := newRig(t, nil)
	r.planted(1)
	r.person(access.Quality, "asks@test", words)
	r.person(access.Physicist, "approves@test", words)
	w := browsertest.Open(t, r.server.URL)
	w.SignIn("asks@test", words)
	w.Go("/releases")
	w.WaitForText("Nothing was asked for yet.")
	w.Click("main details summary")
	w.Fill("#recipient", "Registry of doses")
	w.Fill("#purpose", "survey of repairs")
	w.AxeInBothThemes()
	w.Click("form[action='/releases'] button.main")
	w.WaitForText("Another person has to approve what you asked for.")
	w.WaitForText("1 procedure")
	w.Size(320, 800)
	w.FitsWidth()
	w.Picture("releases-narrow")
	w.Size(1280, 900)

	other := browsertest.Open(t, r.server.URL)
	other.SignIn("approves@test", words)
	other.Go("/releases")
	other.Fill("article input[name=reason]", "agreed with the registry")
	other.Click("button[formaction$='/approve']")
	other.WaitForText("The release is approved.")
	other.AxeInBothThemes()
	other.Picture("releases")
	text := browsertest.TextOf(t, other.Print())
	assert.Contains(t, text, "survey of repairs")
	assert.NotContains(t, text, "Make it")
	other.Click("button[value=de]")
	other.WaitForText("Wozu")
	other.Zoom(200)
	other.FitsWidth()
}

// TestReleasesOfOthers keeps the page from those who may not see it.
func TestReleasesOfOthers(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Admin, anyone, words)
	v := r.visitor()
	v.signIn(anyone, words)
	a := v.get("/releases")
	require.Equal(t, http.StatusForbidden, a.status)
}
