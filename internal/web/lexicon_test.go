package web_test

import (
	"context"
	"fmt"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/ingest/naming"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/web/browsertest"
)

// unheardOf makes cases that no row of the table tells, and one that it does.
func (r *rig) unheardOf() {
	r.t.Helper()
	names := map[string]lexicon.Names{}
	for n, one := range []lexicon.Names{
		{Description: "Grosser Eingriff, Saal 3", Protocols: []string{"Abd <b>DSA</b>"}},
		{Description: "GROSSER EINGRIFF SAAL 3", Protocols: []string{"Abd <b>DSA</b>"}},
		{Description: "Visite"},
		{Description: "TAVI"},
	} {
		names[r.planted(n+1).ID] = one
	}
	require.NoError(r.t, r.db.KeepNames(context.Background(), names))
}

var choice = regexp.MustCompile(`<select id="(class-[0-9a-f]+)" name="class-[0-9a-f]+" aria-label="Class of ([^"]*)"`)

// choices gives the fields of the choices of a class, by the names that they are for.
func choices(body string) map[string]string {
	all := map[string]string{}
	for _, found := range choice.FindAllStringSubmatch(body, -1) {
		all[found[2]] = found[1]
	}
	return all
}

// TestTheLexiconPage gives a name a class, looks at what moves, which is what the interface says, and publishes it; a site's row
// is changed and taken out; an operator sees no such page.
func TestTheLexiconPage(t *testing.T) {
	r := newRig(t, nil)
	r.unheardOf()
	r.person(access.Quality, anyone, words)
	v := r.visitor()
	v.signIn(anyone, words)
	p := v.get("/lexicon")
	require.Equal(t, http.StatusOK, p.status)
	for _, want := range []string{"the table of the settings alone", "Of 3 cases no name tells a class.", "Abd &lt;b&gt;DSA&lt;/b&gt;", "branched or fenestrated aortic repair", "No name has a class yet."} {
		assert.Contains(t, p.body, want)
	}
	assert.NotContains(t, p.body, plantedName)
	assert.NotContains(t, p.body, plantedNumber)
	fields := choices(p.body)
	require.Len(t, fields, 3, "what is written in another case is one name")
	list, err := naming.Unmapped(t.Context(), r.db, lexicon.Default())
	require.NoError(t, err)
	for _, n := range list.Names {
		assert.Regexp(t, fmt.Sprintf(`(?s)%s.{0,400}<td class="number">%d</td><td class="number">%d</td>`, regexp.QuoteMeta(strings.NewReplacer("<", "&lt;", ">", "&gt;").Replace(n.Match)), n.Recent, n.Procedures), p.body)
	}
	big := fields["Grosser Eingriff, Saal 3"]
	complexity := strings.Replace(big, "class-", "complexity-", 1)
	assert.Equal(t, http.StatusUnprocessableEntity, v.post("/lexicon", "mark", "0", "reason", "nothing yet").status)
	assert.Equal(t, http.StatusConflict, v.post("/lexicon", "mark", "4", "reason", "late", big, "neuro").status)
	p = v.post("/lexicon", "mark", "0", "reason", "no", big, "aortic_complex", complexity, "complex")
	require.Equal(t, http.StatusUnprocessableEntity, p.status, "a reason of two letters")
	assert.Contains(t, p.body, `<option value="aortic_complex" selected>`, "what was chosen stands")

	p = v.post("/lexicon", "mark", "0", "reason", "our list of names", big, "aortic_complex", complexity, "complex")
	require.Equal(t, http.StatusSeeOther, p.status, p.body)
	path, _, _ := strings.Cut(p.location, "?")
	p = v.get(path)
	for _, want := range []string{"4 cases were looked at. 2 of them move.", `<td class="number">2</td><td class="number">2</td>`, "No level in force is for some classes alone", "value=\"our list of names\""} {
		assert.Contains(t, p.body, want)
	}
	p = v.post(path+"/publish", "reason", "seen what moves")
	require.Equal(t, path+"?done=lexicon-published", p.location, p.body)
	p = v.get(path)
	assert.Contains(t, p.body, "2 studies, 2 still wait, 0 failed; 0 cases differ.")
	link := regexp.MustCompile(`/recomputations/[a-z2-7]+`).FindString(p.body)
	assert.Equal(t, http.StatusOK, v.get(link).status, "and what came of it")
	p = v.get("/lexicon")
	assert.Contains(t, p.body, "In force is version 1 of the site&#39;s rows")
	assert.Contains(t, p.body, "Of 1 case no name tells a class.")
	r.takesOut(v, big)

	r.person(access.Operator, "surgeon", words)
	other := r.visitor()
	other.signIn("surgeon", words)
	assert.Equal(t, http.StatusForbidden, other.get("/lexicon").status)
	assert.Equal(t, http.StatusForbidden, other.get(path).status)
}

// takesOut changes the row of a field in a draft, goes on with that draft and takes it out.
func (r *rig) takesOut(v *visitor, field string) {
	p := v.post("/lexicon", "mark", "1", "reason", "another class", field, "visceral")
	require.Equal(r.t, http.StatusSeeOther, p.status, p.body)
	draft, _, _ := strings.Cut(p.location, "?")
	assert.Regexp(r.t, `(?s)changed.*branched or fenestrated aortic repair.*visceral or renal artery`, v.get(draft).body)
	id := strings.TrimPrefix(draft, "/lexicon/")
	assert.Contains(r.t, v.get("/lexicon?base="+id).body, "goes on from draft version 2")
	p = v.post("/lexicon", "mark", "1", "base", id, "reason", "better without it", field, "")
	require.Equal(r.t, http.StatusSeeOther, p.status, p.body)
	emptied, _, _ := strings.Cut(p.location, "?")
	assert.Contains(r.t, v.get(emptied).body, "taken out")
	assert.Contains(r.t, v.get(emptied).body, "the table of the settings decides alone")
	require.Equal(r.t, http.StatusSeeOther, v.post(emptied+"/publish", "reason", "none of our own").status)
	assert.Contains(r.t, v.get(draft).body, "Another version came in force", "what was begun before would take that back")
	assert.Equal(r.t, http.StatusUnprocessableEntity, v.post(draft+"/publish", "reason", "all the same").status)
	require.Equal(r.t, draft+"?done=lexicon-withdrawn", v.post(draft+"/withdraw", "reason", "overtaken").location)
}

// TestTheLexiconByKeyboard gives two names a class and publishes, without a mouse.
func TestTheLexiconByKeyboard(t *testing.T) {
	r := newRig(t, nil)
	r.unheardOf()
	r.person(access.Quality, anyone, words)
	w := browsertest.Open(t, r.server.URL)
	w.SignIn(anyone, words)
	w.Go("/lexicon")
	w.NoClicks()
	w.Reach("#words tbody tr:nth-child(1) select[name^=class]")
	w.Press("bran")
	w.WaitForText("1 name has a class.")
	w.Press(kb.Enter)
	w.Press("visc")
	w.WaitForText("2 names have a class.")
	w.Reach("#reason")
	w.Press("our list of names")
	w.Press(kb.Enter)
	w.WaitForText("The draft is kept.")
	w.WaitForText("2 of them move.")
	w.Reach("form[action$='/publish'] button")
	w.Press(kb.Enter)
	w.WaitForText("The lexicon is published.")
	assert.Equal(t, 0, w.Clicks())
}

// TestTheLexiconInABrowser publishes with six clicks, and looks at the pages light and dark, narrow, large and on paper.
func TestTheLexiconInABrowser(t *testing.T) {
	r := newRig(t, nil)
	r.unheardOf()
	r.person(access.Quality, anyone, words)
	w := browsertest.Open(t, r.server.URL)
	w.SignIn(anyone, words)
	w.NoClicks()
	w.Click("nav details:has(a[href='/lexicon']) summary")
	w.Click("nav a[href='/lexicon']")
	w.WaitForText("Names that are not known")
	assert.Less(t, w.Weight(), int64(150_000))
	w.AxeInBothThemes()
	w.Picture("lexicon")
	w.Choose("#words tbody tr:nth-child(1) select[name^=class]", "aortic_complex")
	w.Choose("#words tbody tr:nth-child(1) select[name^=complexity]", "complex")
	w.Fill("#reason", "our list of names")
	w.Click("form.words button.main")
	w.WaitForText("What moves")
	w.AxeInBothThemes()
	w.Picture("lexicon-draft")
	draft, _, _ := strings.Cut(w.Path(), "?")
	w.Click("form[action$='/publish'] button")
	w.WaitForText("The lexicon is published.")
	assert.Equal(t, 6, w.Clicks(), "the menu and its entry, class and complexity, keep, publish")
	for _, one := range []struct{ name, path string }{{"lexicon-published", draft}, {"lexicon-own", "/lexicon"}} {
		w.Size(1280, 900)
		w.Go(one.path)
		w.AxeInBothThemes()
		w.Picture(one.name)
		w.Size(320, 800)
		w.FitsWidth()
		w.Picture(one.name + "-narrow")
	}
	w.Size(1280, 900)
	text := browsertest.TextOf(t, w.Print())
	for _, want := range []string{"Names that are not known", "Visite", "branched or fenestrated aortic repair", "in force is version 1"} {
		assert.Contains(t, strings.ToLower(text), strings.ToLower(want))
	}
	assert.NotContains(t, text, "Keep the draft")
	w.Click("button[value=de]")
	w.WaitForText("Unbekannte Namen")
	w.Click("button[value=dark]")
	w.WaitFor("html[data-theme=dark]")
	w.Axe()
	w.Picture("lexicon-german-dark")
	w.Zoom(200)
	w.FitsWidth()
}
