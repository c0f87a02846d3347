package web_test

import (
	"encoding/json"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/demo"
	"afterbeam/internal/export/casejson"
	"afterbeam/internal/peer"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/web/browsertest"
)

// reportOf gives a report of the demonstration by a part of its file's name.
func reportOf(t testing.TB, name string) procedure.Report {
	t.Helper()
	for _, c := range demo.Cases() {
		if strings.Contains(c.File, name) {
			return c.Report
		}
	}
	t.Fatalf("no report %s", name)
	return procedure.Report{}
}

// text takes the tags from a piece of a page.
func text(html string) string {
	plain := regexp.MustCompile(`<[^>]*>`).ReplaceAllString(html, "")
	return strings.Join(strings.Fields(strings.NewReplacer("\u00a0", " ", "&#43;", "+").Replace(plain)), " ")
}

// shownAs gives the text of the element of an id.
func shownAs(t testing.TB, body, id string) string {
	t.Helper()
	m := regexp.MustCompile(`(?s)id="` + id + `"[^>]*>(.*?)</(?:span|strong|dd)>`).FindStringSubmatch(body)
	require.NotNil(t, m, "nothing has the id %s", id)
	return text(m[1])
}

// TestNumbersOfACaseAreTheInterfaces compares what the page prints with the numbers of the interface, printed by the formatter,
// and every event in the table with the list of events.
func TestNumbersOfACaseAreTheInterfaces(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Physicist, anyone, words)
	c := r.keepAll([]procedure.Report{reportOf(t, "arch-repair")})[0]
	version, err := r.db.Version(t.Context(), c.ID, 0)
	require.NoError(t, err)
	var doc casejson.Case
	require.NoError(t, json.Unmarshal(version.Summary, &doc))
	v := r.visitor()
	v.signIn(anyone, words)
	body := v.get("/cases/" + c.ID).body
	onPaper := func(s string) string { return strings.ReplaceAll(s, " Gy cm2", " Gy·cm²") }
	psd := c.PSD.Or(-1)
	value, low, high, unit := quantity.ShowSkin(psd, c.PSDLow.Or(-1), c.PSDHigh.Or(-1), 1, 2, 3, 5, 10, 15)
	assert.Equal(t, value+" "+unit, shownAs(t, body, "n-psd"))
	assert.Contains(t, text(body), "range "+low+" to "+high+" "+unit)
	assert.Equal(t, quantity.ShowKerma(quantity.Gray(doc.Dose.KermaGy.Or(-1)), 5), shownAs(t, body, "n-kerma"))
	assert.Equal(t, onPaper(quantity.ShowKAP(c.KAP.Or(-1), 500)), shownAs(t, body, "n-kap"))
	assert.Equal(t, quantity.ShowMinutes(c.FluoroTime.Or(-1)), shownAs(t, body, "n-time"))
	assert.Equal(t, quantity.ShowEffective(c.Effective.Or(-1))+" mSv", shownAs(t, body, "n-effective"))
	assert.Contains(t, text(body), "Estimate from the dose report, not a measurement")

	events, err := eventsOf(version)
	require.NoError(t, err)
	seen := 0
	for page := 1; page <= (len(events)+39)/40; page++ {
		body := v.get("/cases/" + c.ID + "?sort=number&page=" + strconv.Itoa(page)).body
		for _, row := range regexp.MustCompile(`(?s)<tr id="event-(\d+)">(.*?)</tr>`).FindAllStringSubmatch(body, -1) {
			seen++
			n, err := strconv.Atoi(row[1])
			require.NoError(t, err)
			require.Equal(t, seen, n)
			kerma := float64(events[n-1].RefKerma.Or(-1)) * 1000
			assert.Contains(t, text(strings.ReplaceAll(row[2], "</td>", " | </td>")), quantity.Figures(kerma, 3)+" |", "event %d", n)
		}
	}
	assert.Equal(t, len(events), seen, "every event stands in the table once")
}

// TestEventsSort sorts the table by kerma, largest first.
func TestEventsSort(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Operator, anyone, words)
	c := r.keepAll([]procedure.Report{reportOf(t, "arch-repair")})[0]
	v := r.visitor()
	v.signIn(anyone, words)
	version, err := r.db.Version(t.Context(), c.ID, 0)
	require.NoError(t, err)
	events, err := eventsOf(version)
	require.NoError(t, err)
	slices.SortStableFunc(events, func(a, b procedure.Event) int { return int(1e9 * float64(b.RefKerma.Or(0)-a.RefKerma.Or(0))) })
	body := v.get("/cases/" + c.ID + "?sort=kerma").body
	first := regexp.MustCompile(`(?s)<tr id="event-\d+">(.*?)</tr>`).FindStringSubmatch(body)
	require.NotNil(t, first)
	assert.Contains(t, text(first[1]), quantity.Figures(float64(events[0].RefKerma.Or(0))*1000, 3))
	assert.Contains(t, body, `aria-sort="descending"`)
	for _, odd := range []string{"?sort=none&page=-3", "?page=999999", "?sort=%22%3E&page=x"} {
		assert.Equal(t, http.StatusOK, v.get("/cases/"+c.ID+odd).status, odd)
	}
}

// TestFactsOfACase adds facts, is told what is wrong with others, and finds what was typed again.
func TestFactsOfACase(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Physicist, anyone, words)
	r.person(access.Operator, "olga", words)
	c := r.keepAll([]procedure.Report{reportOf(t, "valve")})[0]
	v := r.visitor()
	v.signIn(anyone, words)
	path := "/cases/" + c.ID
	tag := func() string {
		m := regexp.MustCompile(`name="tag" value="([^"]*)"`).FindStringSubmatch(v.get(path).body)
		require.NotNil(t, m)
		return strings.ReplaceAll(m[1], "&#34;", `"`)
	}
	first := tag()
	wrong := v.post(path+"/facts", "tag", first, "height_cm", "tall", "source", "ward chart", "reason", "the report has none")
	assert.Equal(t, http.StatusUnprocessableEntity, wrong.status)
	assert.Contains(t, wrong.body, "Height, cm wants a number")
	assert.Contains(t, wrong.body, `value="ward chart"`, "what was typed is not lost")
	far := v.post(path+"/facts", "tag", first, "height_cm", "999", "source", "ward chart", "reason", "the report has none")
	assert.Equal(t, http.StatusUnprocessableEntity, far.status)
	done := v.post(path+"/facts", "tag", first, "height_cm", "171,5", "arms", "alongside", "source", "ward chart", "reason", "the report has none")
	require.Equal(t, http.StatusSeeOther, done.status, done.body)
	body := text(v.get(done.location).body)
	assert.Contains(t, body, "171.5")
	assert.Contains(t, body, "ward chart")
	stale := v.post(path+"/facts", "tag", first, "weight_kg", "80", "source", "ward chart", "reason", "the report has none")
	assert.Equal(t, http.StatusUnprocessableEntity, stale.status)
	assert.Contains(t, stale.body, "Somebody else added something meanwhile")
	other := r.visitor()
	other.signIn("olga", words)
	assert.NotContains(t, other.get(path).body, `name="height_cm"`, "an operator adds no facts")
	assert.Equal(t, http.StatusForbidden, other.post(path+"/facts", "tag", first, "weight_kg", "80", "source", "x", "reason", "because").status)
}

// TestACaseShowsEachRoleItsOwn shows quality no identity and no map, and other rooms nothing.
func TestACaseShowsEachRoleItsOwn(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Quality, "quentin", words)
	r.person(access.Admin, "adam", words)
	report := reportOf(t, "valve")
	c := r.keepAll([]procedure.Report{report})[0]
	v := r.visitor()
	v.signIn("quentin", words)
	p := v.get("/cases/" + c.ID)
	require.Equal(t, http.StatusOK, p.status)
	assert.NotContains(t, p.body, report.Patient.Name)
	assert.NotContains(t, p.body, report.Patient.ID)
	assert.Contains(t, p.body, "identity not shown to this role")
	assert.Equal(t, http.StatusForbidden, v.get("/cases/"+c.ID+"/skin").status)
	assert.Equal(t, http.StatusForbidden, v.post("/cases/"+c.ID+"/acknowledge", "version", "1").status)
	admin := r.visitor()
	admin.signIn("adam", words)
	assert.Equal(t, http.StatusForbidden, admin.get("/cases/"+c.ID).status)
	assert.Contains(t, r.actions(), "procedure.view done", "who looked is recorded")
}

// TestACaseIsFoundReadAndAcknowledged goes from the list to the case and says that it was seen: two clicks.
func TestACaseIsFoundReadAndAcknowledged(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Operator, anyone, words)
	c := r.keepAll([]procedure.Report{reportOf(t, "arch-repair")})[0]
	w := browsertest.Open(t, r.server.URL)
	w.SignIn(anyone, words)
	w.Go("/cases")
	w.NoClicks()
	w.Click("a[href='/cases/" + c.ID + "']")
	w.WaitFor(".answer .state")
	assert.Contains(t, w.Text(".answer"), "Estimated peak skin dose")
	w.Click("form[action$='/acknowledge'] button")
	w.WaitForText("You noted on")
	assert.Equal(t, 2, w.Clicks())
	seen, err := r.db.Acknowledgements(t.Context(), c.ID)
	require.NoError(t, err)
	require.Len(t, seen, 1)
	assert.Equal(t, c.Version, seen[0].Version)
	w.NoClicks()
	w.Click("#n-psd ~ details summary")
	w.WaitForText("What makes the range")
	assert.Equal(t, 1, w.Clicks(), "what a number rests on is one click away")
}

// mappedCase opens a case of the demonstration that reached a level and has a map.
func mappedCase(t *testing.T, role string) *browsertest.Window {
	t.Helper()
	w := browsertest.SignInAs(t, role)
	w.Go("/cases?flag=reached")
	var path string
	w.Value(`[...document.querySelectorAll("main a[href^='/cases/']")].find(a => a.textContent.includes("stage 1")).getAttribute("href")`, &path)
	w.Go(path)
	return w
}

// TestSkinOfACaseInABrowser reads the skin by mouse and keyboard, turns the body, and looks at the page in every form.
func TestSkinOfACaseInABrowser(t *testing.T) {
	w := mappedCase(t, "physicist")
	w.WaitFor("[data-ready]")
	assert.Less(t, w.Weight(), int64(450_000), "bytes with the patches, which come after the page")
	var first int64
	w.Value(`performance.getEntriesByType("resource").concat(performance.getEntriesByType("navigation")).filter(e => !e.name.includes("/skin")).reduce((n, e) => n + e.transferSize, 0)`, &first)
	assert.Less(t, first, int64(150_000), "bytes of the page itself with all it loads")
	peak := w.Text("#dose-here")
	var marked string
	w.Value(`document.querySelector(".close .peakmark text").textContent.trim()`, &marked)
	assert.Equal(t, strings.ReplaceAll(marked, "\u00a0", " "), strings.ReplaceAll(peak, "\u00a0", " "), "the cursor begins at the peak")
	assert.Contains(t, w.Text("#readout"), "event ")
	w.Picture("case")
	w.AxeInBothThemes()
	w.Theme("dark")
	w.Picture("case-dark")
	w.Theme("light")

	w.NoClicks()
	w.Click(".close svg.flat")
	assert.Equal(t, 1, w.Clicks())
	assert.NotEmpty(t, w.Text("#dose-here"))
	w.Reach("svg[tabindex]")
	w.Press(kb.Home)
	assert.Equal(t, peak, w.Text("#dose-here"))
	for range 6 {
		w.Press(kb.ArrowRight)
	}
	assert.NotEqual(t, peak, w.Text("#dose-here"), "six steps of a centimetre from the peak the dose is another")
	turn := func() (at string) {
		w.Value(`document.getElementById("body").dataset.turn`, &at)
		return at
	}
	before := turn()
	w.Reach("#body")
	w.Press(kb.ArrowLeft)
	assert.NotEqual(t, before, turn(), "the body turns by keyboard")
	w.Press(kb.Home)
	assert.Equal(t, before, turn(), "and comes back to the peak")
	w.Click("[data-turn=front]")
	assert.NotEqual(t, before, turn(), "and by a button")

	for _, width := range []int64{320, 1280} {
		w.Size(width, 800)
		w.FitsWidth()
	}
	w.Size(320, 800)
	w.Picture("case-320")
	w.Zoom(200)
	w.FitsWidth()
	w.Picture("case-zoom-200")
	w.Zoom(100)
	everySheetNamesThePatient(t, w)
}

// everySheetNamesThePatient prints the page and reads it back by poppler.
func everySheetNamesThePatient(t *testing.T, w *browsertest.Window) {
	t.Helper()
	peer.Need(t, "pdftotext")
	name := filepath.Join(t.TempDir(), "case.pdf")
	require.NoError(t, os.WriteFile(name, w.Print(), 0o600))
	out, err := exec.CommandContext(t.Context(), "pdftotext", "-layout", name, "-").Output()
	require.NoError(t, err)
	patient := w.Text(".patient strong")
	sheets := strings.Split(strings.TrimRight(string(out), "\f"), "\f")
	require.Greater(t, len(sheets), 1)
	for i, sheet := range sheets {
		assert.Contains(t, sheet, patient, "sheet %d", i+1)
	}
}
