package web_test

import (
	"testing"

	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"

	"afterbeam/internal/access"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/web/browsertest"
)

// TestFollowUpInABrowser answers an ask and looks at every page of the follow-up, light and dark, narrow, large and on paper.
func TestFollowUpInABrowser(t *testing.T) {
	r := newRig(t, nil)
	c := r.planted(1)
	r.person(access.Physicist, anyone, words)
	w := browsertest.Open(t, r.server.URL)
	w.SignIn(anyone, words)
	w.Go("/follow-up")
	assert.Less(t, w.Weight(), int64(150_000))
	w.AxeInBothThemes()
	w.Picture("follow-up")
	w.NoClicks()
	w.Click("a[href='/asks/" + r.askOf(c, "inform").ID + "']")
	w.WaitForText("By the schedule")
	w.Click("form[action$='/answer'] button.main")
	w.WaitForText("The answer is kept.")
	assert.Equal(t, 2, w.Clicks(), "the ask, and keep: done today is the usual answer")
	paths := map[string]string{
		"ask": "/asks/" + r.askOf(c, "month").ID, "flag": "/flags/" + r.flagOf(c, level.Kerma).ID, "case-follow-up": "/cases/" + c.ID + "/follow-up",
		"papers": "/cases/" + c.ID + "/papers", "notices": "/cases/" + c.ID + "/notices", "prefer": "/me/notices", "levels": "/levels", "draft": "/levels/draft",
	}
	for name, path := range paths {
		w.Size(1280, 900)
		w.Go(path)
		w.AxeInBothThemes()
		w.Picture(name)
		w.Size(320, 800)
		w.FitsWidth()
		w.Picture(name + "-narrow")
	}
	w.Size(1280, 900)
	w.Go(paths["flag"])
	text := browsertest.TextOf(t, w.Print())
	assert.Contains(t, text, plantedNumber, "the banner on paper")
	assert.Contains(t, text, "5.43 Gy")
	assert.NotContains(t, text, "Settle the flag")
	w.Click("button[value=de]")
	w.WaitForText("Über der Schwelle um")
	w.Click("button[value=dark]")
	w.WaitFor("html[data-theme=dark]")
	w.Axe()
	w.Picture("flag-german-dark")
	w.Zoom(200)
	w.FitsWidth()
}

// TestAFlagIsSettledByKeyboard settles a flag without a mouse.
func TestAFlagIsSettledByKeyboard(t *testing.T) {
	r := newRig(t, nil)
	c := r.planted(1)
	r.person(access.Physicist, anyone, words)
	w := browsertest.Open(t, r.server.URL)
	w.SignIn(anyone, words)
	w.NoClicks()
	w.Go("/flags/" + r.flagOf(c, level.Kerma).ID)
	w.Reach("input[value=measurement]")
	w.Press(" ")
	w.Reach("form[action$='/settle'] textarea")
	w.Press("the display reads half as much again")
	w.Reach("form[action$='/settle'] button")
	w.Press(kb.Enter)
	w.WaitForText("The flag is settled.")
	assert.Equal(t, 0, w.Clicks())
}
