package web_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"html"
	"io"
	"log/slog"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/demo"
	"afterbeam/internal/export/casejson"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/ingest"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
	"afterbeam/internal/web/browsertest"
)

// hostileTexts are texts of reports that must stay texts.
func hostileTexts(t testing.TB) []string {
	t.Helper()
	file, err := os.ReadFile("../../testdata/hostile/texts.txt")
	require.NoError(t, err)
	var all []string
	for line := range strings.Lines(string(file)) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		var text string
		require.NoError(t, json.Unmarshal([]byte(line), &text), line)
		all = append(all, text)
	}
	require.GreaterOrEqual(t, len(all), 200)
	return all
}

// eventsEach is how many events a hostile report has, each with a protocol of its own.
const eventsEach = 20

// hostileReports carry all texts as protocols of events and, in turn, as every other text of a report.
func hostileReports(t testing.TB, texts []string) []procedure.Report {
	t.Helper()
	cases := demo.Cases()
	base := cases[slices.IndexFunc(cases, func(c demo.Case) bool { return len(c.Report.Events) >= eventsEach })].Report
	var all []procedure.Report
	for first := 0; first < len(texts); first += eventsEach {
		r := base
		n := 0
		next := func() string { n++; return texts[(first+n)%len(texts)] }
		tail := fmt.Sprintf(".%d", 1000+first)
		r.SOPInstanceUID, r.SeriesUID, r.StudyUID = "2.25.1"+tail, "2.25.2"+tail, "2.25.3"+tail
		r.Patient.ID, r.Patient.Name, r.Patient.Issuer = fmt.Sprintf("H%d %.40s", first, next()), next(), next()
		r.Study.Description, r.Study.Performed, r.Study.Institution = next(), next(), next()
		r.Device = procedure.Device{Name: next(), Manufacturer: next(), Model: next(), Serial: fmt.Sprint(first), Room: next(), Software: next()}
		r.Comment, r.Persons = next(), nil
		r.Events = slices.Clone(base.Events[:eventsEach])
		for i := range r.Events {
			e := &r.Events[i]
			e.UID, e.Protocol, e.Label, e.Comment = fmt.Sprintf("2.25.4%s.%d", tail, i), texts[(first+i)%len(texts)], next(), next()
			e.Target.Meaning, e.Anatomy.Meaning = next(), next()
		}
		all = append(all, r)
	}
	return all
}

// keepAll takes reports in and assesses them, as the service does.
func (r *rig) keepAll(reports []procedure.Report) []store.Case {
	r.t.Helper()
	method := assessment.Default()
	method.MaxPatch, method.RangePoints = 100, assessment.LeastPoints // coarse: this is about texts
	pipeline := &ingest.Pipeline{
		Store: r.db, Method: method, Reading: rdsr.Options{Site: time.UTC}, Summarise: casejson.Marshal, Quiet: time.Hour, Workers: 1,
		Fatal: func(err error) { r.t.Error(err) }, Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Now: r.clock.Now,
	}
	keeper := &ingest.Keeper{Vault: r.db, Limits: dicomio.DefaultLimits(), Fatal: func(err error) { r.t.Error(err) }, Kept: func() {}}
	for i := range reports {
		var b bytes.Buffer
		require.NoError(r.t, rdsr.Write(&b, &reports[i], rdsr.WriteOptions{}))
		_, _, err := keeper.Keep(context.Background(), store.System("test"), "test", &b)
		require.NoError(r.t, err)
	}
	for {
		worked, err := pipeline.Step(r.t.Context(), "test")
		require.NoError(r.t, err)
		if !worked {
			break
		}
	}
	cases, err := r.db.Cases(r.t.Context(), store.Filter{Limit: 500})
	require.NoError(r.t, err)
	return cases
}

// TestHostileTextsStayTexts shows every hostile text of a report on the page of its case: escaped in the bytes, and in a browser
// nothing runs, asks or changes the page, while each text is read as it was sent.
func TestHostileTextsStayTexts(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Physicist, anyone, words)
	texts := hostileTexts(t)
	cases := r.keepAll(hostileReports(t, texts))
	require.Len(t, cases, (len(texts)+eventsEach-1)/eventsEach, "a report was not read")
	v := r.visitor()
	v.signIn(anyone, words)
	escaped := 0
	for _, c := range cases {
		p := v.get("/cases/" + c.ID)
		require.Equal(t, 200, p.status, p.body)
		for _, text := range texts {
			if html.EscapeString(text) == text {
				continue
			}
			if strings.ContainsAny(text, "<>") && len(text) > len("</script>") && !strings.HasPrefix(text, "-->") {
				assert.NotContains(t, p.body, text, "as it came, of the case %s", c.StudyUID)
			}
			if strings.Contains(p.body, html.EscapeString(text)) {
				escaped++
			}
		}
	}
	for _, path := range r.listingPages() {
		p := v.get(path)
		require.Equal(t, 200, p.status, "%s: %s", path, p.body)
		for _, text := range texts {
			if strings.ContainsAny(text, "<>") && len(text) > len("</script>") && !strings.HasPrefix(text, "-->") {
				assert.NotContains(t, p.body, text, "as it came, on %s", path)
			}
		}
	}
	t.Logf("%d hostile texts, found escaped %d times", len(texts), escaped)
	require.Greater(t, escaped, len(texts)/2)

	w := browsertest.Open(t, r.server.URL)
	w.SignIn(anyone, words)
	read := map[string]bool{}
	for _, c := range cases {
		w.Go("/cases/" + c.ID)
		var found struct {
			Ran       bool
			Title     string
			Sections  int
			Elsewhere []string
			Texts     []string
		}
		w.Value(`({Ran: "hostile" in window && window.hostile === 1, Title: document.title, Sections: document.querySelectorAll("main > section").length,
		  Elsewhere: performance.getEntriesByType("resource").map(e => new URL(e.name).pathname).filter(p => !p.startsWith("/static/") && !p.startsWith("/cases/")),
		  Texts: [...document.querySelectorAll("#events ~ .scroll td.long, .what dd, .patient strong")].map(e => e.textContent)})`, &found)
		assert.False(t, found.Ran, "a text ran")
		assert.Equal(t, "Case · afterbeam", found.Title)
		assert.GreaterOrEqual(t, found.Sections, 6, "a text changed the page")
		assert.Empty(t, found.Elsewhere, "a text asked for something")
		for _, text := range found.Texts {
			read[plainSpaces(text)] = true
		}
	}
	for _, path := range r.listingPages() {
		w.Go(path)
		var ran bool
		w.Value(`"hostile" in window && window.hostile === 1`, &ran)
		assert.False(t, ran, "a text ran on %s", path)
	}
	var lost []string
	for _, text := range texts {
		if !read[plainSpaces(text)] {
			lost = append(lost, text)
		}
	}
	assert.Empty(t, lost, "texts that are not read as they were sent")
}

// listingPages are the other pages that texts of reports reach.
func (r *rig) listingPages() []string {
	r.t.Helper()
	paths := []string{"/cases", "/devices", "/waiting", "/recomputations", "/acceptance/new", "/lexicon", "/month/2026", "/missing?from=2026-01-01&to=2026-12-31&outcome=unannounced"}
	devices, err := r.db.Devices(r.t.Context(), nil)
	require.NoError(r.t, err)
	for _, d := range devices {
		paths = append(paths, "/devices/"+d.ID)
	}
	return paths
}

// plainSpaces leaves out the white space around a text and what a report or a browser makes one of within.
func plainSpaces(text string) string { return strings.Join(strings.Fields(text), " ") }
