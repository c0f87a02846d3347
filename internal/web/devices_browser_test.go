package web_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/access"
	"afterbeam/internal/web/browsertest"
)

// TestPhysicsPagesInABrowser writes a profile and has it signed, asks for estimates anew, and looks at each page light and dark,
// narrow and large.
func TestPhysicsPagesInABrowser(t *testing.T) {
	r := newRig(t, nil)
	r.keepAll(hostileReports(t, []string{"plain"}))
	r.person(access.Physicist, anyone, words)
	r.person(access.Physicist, "second", words)
	w := browsertest.Open(t, r.server.URL)
	w.SignIn(anyone, words)
	w.NoClicks()
	w.Click("nav details:has(a[href='/devices']) summary")
	w.Click("nav a[href='/devices']")
	w.WaitFor("main a[href^='/devices/']")
	assert.Equal(t, 2, w.Clicks(), "the menu, and its entry")
	w.Click("main a[href^='/devices/']")
	w.WaitForText("Nobody has written a profile")
	device := w.Path()
	w.NoClicks()
	w.Click("a[href='" + device + "/draft']")
	w.Fill("#from", "09012026") // as an American keyboard types a date
	w.Fill("#reason", "the yearly check of the display")
	w.Fill("#kerma_factor_value", "1,06")
	w.Fill("#kerma_factor_uncertainty_percent", "many")
	w.Click("form.draft button.main")
	w.WaitForText("a number is wanted")
	w.Fill("#kerma_factor_uncertainty_percent", "3")
	w.Choose("#table_layer_1_material", "foam")
	w.Fill("#table_layer_1_mass_g_cm2", "0.15")
	w.NoClicks()
	w.Click("form.draft button.main")
	w.WaitForText("The draft is kept")
	assert.Equal(t, 1, w.Clicks(), "keep")
	w.WaitForText("You wrote it")
	for _, text := range []string{"1.06", "0.15 g/cm²", "from 2026-09-01"} {
		w.WaitForText(text)
	}
	for name, path := range map[string]string{"devices": "/devices", "device": device, "profile-draft": device + "/draft", "check": device + "/check", "waiting": "/waiting", "recomputations": "/recomputations", "theory": "/theory", "theory-dose": "/theory/dose", "theory-statistics": "/theory/statistics", "missing": "/missing", "help": "/help", "help-tour": "/help/tour"} {
		w.Size(1280, 900)
		w.Go(path)
		w.AxeInBothThemes()
		w.Picture(name)
		w.Size(320, 800)
		w.FitsWidth()
		w.Picture(name + "-narrow")
	}
	w.Size(1280, 900)
	w.Click("form[action='/sign-out'] button")
	w.WaitForText("You are signed out")
	w.SignIn("second", words)
	w.Go(device)
	w.Fill("form[action$='/sign'] input[name=reason]", "agrees with my own readings")
	w.NoClicks()
	w.Click("form[action$='/sign'] button")
	w.WaitForText("The profile is signed")
	w.WaitForText("Signed by second")
	assert.Equal(t, 1, w.Clicks())
	w.Go("/recomputations")
	w.Fill("#reason", "a look at every case")
	w.Click("main form button.main")
	w.WaitForText("Asked for")
	w.AxeInBothThemes()
	w.Picture("recomputation")
	w.Zoom(200)
	w.FitsWidth()
}

// TestAConsoleIsComparedInABrowser types what a console showed, and has another physicist sign.
func TestAConsoleIsComparedInABrowser(t *testing.T) {
	r := newRig(t, nil)
	c := r.planted(1) // Ka,r 5.4321 Gy
	r.person(access.Physicist, anyone, words)
	r.person(access.Physicist, "second", words)
	w := browsertest.Open(t, r.server.URL)
	w.SignIn(anyone, words)
	w.Go("/acceptance")
	w.WaitForText("Nothing was compared yet")
	w.AxeInBothThemes()
	w.NoClicks()
	w.Click("main a.button")
	w.Fill("input[name=kar_"+c.ID+"]", "5432")
	w.Fill("input[name=kap_"+c.ID+"]", "312")
	w.Fill("#reason", "before the site relies on it")
	w.AxeInBothThemes()
	w.Picture("acceptance-new")
	w.Click("form.draft button.main")
	w.WaitForText("1 of 2 numbers agree")
	assert.Equal(t, 2, w.Clicks(), "begin, and compare")
	w.WaitForText("the service has no number")
	w.WaitForText("another physicist signs")
	one := w.Path()
	w.Click("form[action='/sign-out'] button")
	w.WaitForText("You are signed out")
	w.SignIn("second", words)
	w.Go(one)
	w.Fill("#reason", "read; KAP is not in the report")
	w.Click("form[action$='/sign'] button")
	w.WaitForText("Signed.")
	w.AxeInBothThemes()
	w.Picture("acceptance")
	w.Size(320, 800)
	w.FitsWidth()
	w.Go("/acceptance/new")
	w.FitsWidth()
	w.Go("/acceptance")
	w.FitsWidth()
	w.WaitForText("second")
}
