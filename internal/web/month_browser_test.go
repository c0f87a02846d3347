package web_test

import (
	"encoding/json"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/summary"
	"afterbeam/internal/web/browsertest"
)

// TestMonthInABrowser looks at the page of a month in every form, agrees an action by keyboard and reviews a case.
func TestMonthInABrowser(t *testing.T) {
	r := newRig(t, nil)
	c := r.planted(1)
	r.person(access.Quality, anyone, words)
	w := browsertest.Open(t, r.server.URL)
	w.SignIn(anyone, words)
	period := c.LocalDate[:len("2006-01")]
	w.Go("/month/" + period)
	w.WaitForText("Dose summary")
	assert.Less(t, w.Weight(), int64(150_000))
	w.AxeInBothThemes()
	w.Picture("month")
	w.NoClicks()
	w.Click("#agree summary")
	w.Reach("#agree-text")
	w.Press("Teach collimation")
	w.Reach("#agree-owner")
	w.Press("the quality team")
	w.Click("#agree button")
	w.WaitForText("The action is kept.")
	w.WaitForText("Teach collimation")
	assert.Equal(t, 2, w.Clicks(), "open the form, keep")
	w.Click("details:has(form[action*='/reviews/" + c.ID + "']) summary")
	w.Click("form[action*='/reviews/" + c.ID + "'] input[value=appropriate]")
	w.Reach("form[action*='/reviews/" + c.ID + "'] textarea")
	w.Press("views could not be changed")
	w.Click("form[action*='/reviews/" + c.ID + "'] button")
	w.WaitForText("What was found is kept.")
	w.Size(320, 800)
	w.Go("/month/" + period)
	w.FitsWidth()
	w.Picture("month-narrow")
	w.Size(1280, 900)
	text := browsertest.TextOf(t, w.Print())
	assert.Contains(t, text, "Completeness")
	assert.NotContains(t, text, "Agree an action")
	assert.NotContains(t, text, plantedNumber)
	w.Click("button[value=de]")
	w.WaitForText("Dosisbericht")
	w.Zoom(200)
	w.FitsWidth()
}

// TestMonthHasTheNumbersOfTheInterface compares page and files with what the interface answers.
func TestMonthHasTheNumbersOfTheInterface(t *testing.T) {
	r := newRig(t, nil)
	c := r.planted(1)
	r.person(access.Quality, anyone, words)
	v := r.visitor()
	v.signIn(anyone, words)
	period := c.LocalDate[:len("2006-01")]
	var s summary.Summary
	require.NoError(t, json.Unmarshal([]byte(v.get("/month/"+period+"/files/json").body), &s), "as the interface gave it")
	page := v.get("/month/" + period)
	require.Equal(t, http.StatusOK, page.status)
	assert.Equal(t, 1, s.Counts.Cases)
	assert.Contains(t, page.body, "1 (0 in the period before), 1 patients")
	assert.NotContains(t, page.body, plantedNumber)
	for form, begins := range map[string]string{"pdf": "%PDF", "xlsx": "PK", "csv": "indicator,", "spreadsheet": "\uFEFFIndicator", "json": "{"} {
		file := v.get("/month/" + period + "/files/" + form)
		require.Equal(t, http.StatusOK, file.status, form)
		assert.True(t, strings.HasPrefix(file.body, begins), "%s begins %.20q", form, file.body)
		assert.NotContains(t, file.body, plantedNumber)
	}
	assert.Equal(t, http.StatusNotFound, v.get("/month/"+period+"/files/exe").status)
	assert.Equal(t, http.StatusBadRequest, v.get("/month/"+url.PathEscape("2026-13")).status)
}

// TestMonthOfAnOperator has no list of cases and no form for reviews, and no month is another's.
func TestMonthOfAnOperator(t *testing.T) {
	r := newRig(t, nil)
	c := r.planted(1)
	r.person(access.Operator, anyone, words)
	v := r.visitor()
	v.signIn(anyone, words)
	period := c.LocalDate[:len("2006-01")]
	page := v.get("/month/" + period)
	require.Equal(t, http.StatusOK, page.status)
	assert.Contains(t, page.body, "no lists of single cases")
	assert.NotContains(t, page.body, c.ID)
	assert.NotContains(t, page.body, "/reviews/")
	assert.Equal(t, http.StatusNotFound, v.get("/month/"+period+"/charts/0.png").status, "one case makes no chart")
	assert.Equal(t, http.StatusNotFound, v.get("/month/"+period+"/charts/x").status)
	assert.Equal(t, http.StatusForbidden, v.post("/month/"+period+"/reviews/"+c.ID, "state", "appropriate", "reason", "mine").status)
	assert.Equal(t, http.StatusSeeOther, v.get("/month").status)
}
