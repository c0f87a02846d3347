package web_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/web/browsertest"
)

// TestTodayAndCasesInABrowser lands on what is new, finds the flagged cases of the list by one filter, and sorts them.
func TestTodayAndCasesInABrowser(t *testing.T) {
	w := browsertest.SignInAs(t, "physicist")
	w.Go("/")
	w.WaitForText("1 case reached a level")
	assert.Equal(t, "/today", w.Path())
	assert.Less(t, w.Weight(), int64(150_000), "bytes with all it loads")
	w.AxeInBothThemes()
	w.Picture("today")
	w.FitsWidth()
	w.NoClicks()
	w.Click("nav a[href='/cases']")
	w.WaitForText("10 cases of 10")
	w.AxeInBothThemes()
	w.Picture("cases")
	w.Click("a.chip[href*='order=peak']")
	w.WaitFor("a.chip[href*='order=peak'][aria-current]")
	w.Choose("#flag", "reached")
	w.Click(".filters button")
	w.WaitForText("Narrowed by:")
	assert.Equal(t, 4, w.Clicks(), "the list, the order, the flag, show")
	w.AxeInBothThemes()
	w.Picture("cases-reached")
	w.Reach(".cases a")
	w.Size(320, 800)
	w.FitsWidth()
	w.Picture("cases-narrow")
	w.Size(1280, 900)
	w.Go("/cases?from=yesterday")
	w.WaitForText("could not be read")
	w.Axe()
}
