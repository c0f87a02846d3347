package web_test

import (
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"

	"afterbeam/internal/access"
	"afterbeam/internal/web/browsertest"
)

const (
	anyone = "petra"
	words  = "correct horse lamp"
)

// TestSignInInABrowser signs in with the mouse and looks at every page about signing in.
func TestSignInInABrowser(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Admin, anyone, words)
	w := browsertest.Open(t, r.server.URL)
	w.Go("/accounts")
	assert.Equal(t, "/sign-in?next=%2Faccounts", w.Path())
	assert.Less(t, w.Weight(), int64(150_000), "bytes of the first page with all it loads")
	w.AxeInBothThemes()
	w.Picture("sign-in")
	w.Fill("#account", anyone)
	w.Fill("#password", "not the password")
	w.Click("main button.main")
	w.WaitFor(".wrong")
	w.AxeInBothThemes()
	w.Picture("sign-in-wrong")
	w.Fill("#password", words)
	w.Click("main button.main")
	w.WaitForText("Who may use the service")
	assert.Equal(t, "/accounts", w.Path(), "where the person wanted to go")
	for _, path := range []string{"/password", "/first", "/confirm", "/nowhere"} {
		w.Go(path)
		w.AxeInBothThemes()
		w.Picture("page-" + path[1:])
	}
}

// TestOwnPagesInABrowser makes and revokes a token, in light and dark, in German, large and narrow.
func TestOwnPagesInABrowser(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Admin, anyone, words)
	w := browsertest.Open(t, r.server.URL)
	w.SignIn(anyone, words)
	w.NoClicks()
	w.Go("/me")
	w.Fill("#purpose", "a script for the month")
	w.Click("form[action='/me/tokens'] button")
	w.WaitForText("shown now and never again")
	assert.Equal(t, 1, w.Clicks())
	w.AxeInBothThemes()
	w.Picture("me-token")
	w.Click("form[action$='/revoke'] button")
	w.WaitForText("You have no token")
	w.Go("/accounts")
	w.Click("form[action$='/password-link'] button")
	w.WaitForText("Give this code to")
	w.AxeInBothThemes()
	w.Picture("accounts-code")
	w.NoClicks()
	w.Fill("#name", "otto")
	w.Choose("#role", "operator")
	w.Click("form[action='/accounts'] button.main")
	w.WaitFor("[role=alert]") // an operator wants rooms or own cases
	w.Fill("#rooms", "Hybrid 1\nCath 2")
	w.Click("form[action='/accounts'] button.main")
	w.WaitForText("The account is made")
	w.WaitForText("Hybrid 1, Cath 2")
	assert.Equal(t, 3, w.Clicks(), "role, and twice the button")
	w.Click("button[value=de]")
	w.WaitForText("Konten")
	w.Go("/me")
	w.Click("button[value=dark]")
	w.WaitFor("html[data-theme=dark]")
	w.Axe()
	w.Picture("me-german-dark")
	for _, width := range []int64{320, 1280} {
		w.Size(width, 800)
		for _, path := range []string{"/me", "/accounts", "/sign-in", "/password", "/first"} {
			w.Go(path)
			w.FitsWidth()
		}
	}
	w.Size(320, 800)
	w.Go("/me")
	w.Picture("me-320")
	w.Zoom(200)
	w.FitsWidth()
	w.Picture("me-zoom-200")
}

// TestKeyboardAlone signs in, makes a token and signs out without a mouse.
func TestKeyboardAlone(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Physicist, anyone, words)
	w := browsertest.Open(t, r.server.URL)
	w.Go("/sign-in")
	w.Reach("#account")
	w.Press(anyone)
	w.Reach("#password")
	w.Press(words + kb.Enter)
	w.WaitFor(".who a[href='/me']")
	w.Reach(".who a[href='/me']")
	w.Press(kb.Enter)
	w.WaitForText("Where I am signed in")
	w.Reach("#purpose")
	w.Press("by keyboard")
	w.Reach("form[action='/me/tokens'] button")
	w.Press(kb.Enter)
	w.WaitForText("shown now and never again")
	w.Go("/me")
	w.Reach(".skip")
	w.Press(kb.Enter)
	w.Reach("form[action$='/revoke'] button")
	w.Press(kb.Enter)
	w.WaitForText("You have no token")
	w.Reach("form[action='/sign-out'] button")
	w.Press(kb.Enter)
	w.WaitForText("You are signed out")
	assert.Equal(t, 0, w.Clicks())
}

// TestTheEndOfASessionIsToldInABrowser has a session near its end: a dialog asks, and one key goes on.
func TestTheEndOfASessionIsToldInABrowser(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Physicist, anyone, words)
	w := browsertest.Open(t, r.server.URL)
	w.SignIn(anyone, words)
	r.clock.Pass(13*time.Minute + 30*time.Second)
	w.Go("/password") // a page that needs no session does not count as its use
	w.WaitFor("#stay[open]")
	w.AxeInBothThemes()
	w.Picture("stay")
	w.Press(kb.Enter)
	w.WaitFor("body:not(:has(#stay[open]))")
	r.clock.Pass(14 * time.Minute)
	w.Go("/me")
	assert.Equal(t, "/me", w.Path(), "it went on")
}

// TestThePaperOfAPage prints a page: what is clicked is not on it, and its pages are counted.
func TestThePaperOfAPage(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Admin, anyone, words)
	w := browsertest.Open(t, r.server.URL)
	w.SignIn(anyone, words)
	w.Go("/accounts")
	text := browsertest.TextOf(t, w.Print())
	assert.Contains(t, text, "Who may use the service")
	assert.Regexp(t, `1 ?/ ?1`, text)
	assert.NotContains(t, text, "Sign out")
}

// TestTheDemonstrationInABrowser signs in as everybody that the demonstration prints.
func TestTheDemonstrationInABrowser(t *testing.T) {
	for _, role := range []string{"physicist", "operator", "quality", "admin", "auditor"} {
		t.Run(role, func(t *testing.T) {
			w := browsertest.SignInAs(t, role)
			assert.Contains(t, w.Text(".synthetic"), "invented")
		})
	}
}
