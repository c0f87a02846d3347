package web

import (
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/procedure/lexicon"
)

func (s *Site) lexiconPages() []page {
	see := []access.Operation{"getLexicon", "listLexiconVersions", "listColleagues"}
	draft := append(slices.Clone(see), "listUnmappedNames", "draftLexicon")
	one := []access.Operation{"getLexicon", "getLexiconVersion", "listColleagues"}
	return []page{
		{method: http.MethodGet, path: "/lexicon", title: "lexicon.title", template: "lexicon.html", needs: see, listed: true, group: "nav.quality", scripts: []string{"lexicon.js"}, serve: func(v *view) (any, error) { return v.lexicon("") }},
		{method: http.MethodPost, path: "/lexicon", title: "lexicon.title", template: "lexicon.html", needs: draft, scripts: []string{"lexicon.js"}, serve: draftLexicon},
		{method: http.MethodGet, path: "/lexicon/:id", title: "lexicon.version_title", template: "lexiconversion.html", needs: one, serve: func(v *view) (any, error) { return v.lexiconVersion("") }},
		{method: http.MethodPost, path: "/lexicon/:id/publish", title: "lexicon.version_title", template: "lexiconversion.html", needs: append(slices.Clone(one), "publishLexicon"), serve: func(v *view) (any, error) { return decideLexicon(v, "publish", "lexicon-published") }},
		{method: http.MethodPost, path: "/lexicon/:id/withdraw", title: "lexicon.version_title", template: "lexiconversion.html", needs: append(slices.Clone(one), "withdrawLexicon"), serve: func(v *view) (any, error) { return decideLexicon(v, "withdraw", "lexicon-withdrawn") }},
	}
}

// The most names and rows that a form shows: more would be longer than a form may be. What it does not show stays as it is.
const (
	namesShown     = 50
	mostNamesShown = 400
	mostRowsShown  = 400
)

// lexiconData is the lexicon in force with the form that proposes another.
type lexiconData struct {
	httpapi.LexiconInForce
	Versions []lexiconRow
	// Base is the draft that the form goes on from, "" for what is in force; Mark the version over which it is made.
	Base     string
	Mark     int
	Draft    int // version of the draft
	Own      []wordRow
	Hidden   int // rows that the form does not show
	Unmapped httpapi.UnmappedNames
	Names    []nameRow
	MayEdit  bool
	// All tells that every name is shown that fits.
	All   bool
	Typed typed
	Wrong string
}

// wordField is the choice of class and complexity of one name.
type wordField struct {
	Field, Match      string
	Class, Complexity string // as typed, or as the row has it
	Has               bool   // the name has a row already
	Classes           []httpapi.ProcedureClass
	Complexities      []string
}

// Word gives the choice for a name whose row has a class, "" for one without a row.
func (d lexiconData) Word(name, match, class, complexity string) wordField {
	return wordField{
		Field: name, Match: match, Has: class != "", Class: d.Typed.Or("class-"+name, class), Complexity: d.Typed.Or("complexity-"+name, complexity),
		Classes: d.Classes, Complexities: lexicon.Complexities(),
	}
}

// TableRows gives the rows of the table that a site stands over.
func (d lexiconData) TableRows() []wordRow {
	rows := make([]wordRow, len(d.Table))
	for i, r := range d.Table {
		rows[i] = wordRowOf(r)
	}
	return rows
}

// Kinds lists what a row can be compared with.
func (lexiconData) Kinds() []lexicon.Kind { return lexicon.Kinds() }

// wordRow is a row of the site with the name of its fields.
type wordRow struct {
	httpapi.LexiconRow
	Field, Title string
}

// nameRow is a name that is not known.
type nameRow struct {
	httpapi.UnmappedName
	Field string
}

// lexiconRow is a version with who drafted and who decided.
type lexiconRow struct {
	httpapi.LexiconVersion
	By, Decider string
}

func (c colleagues) lexicon(l httpapi.LexiconVersion) lexiconRow {
	by, decider := c.both(l.Author, l.DecidedBy)
	return lexiconRow{LexiconVersion: l, By: by, Decider: decider}
}

// field names what the form sends about a name, whatever its place in the list.
func field(kind, match string) string {
	const digits = 6
	sum := sha256.Sum256([]byte(keyOf(kind, match)))
	return hex.EncodeToString(sum[:digits])
}

func keyOf(kind, match string) string {
	return lexicon.Row{Kind: lexicon.Kind(kind), Match: match}.Key()
}

func wordRowOf(r httpapi.LexiconRow) wordRow {
	return wordRow{LexiconRow: r, Field: field(string(r.Kind), r.Match), Title: classTitle(r.Class)}
}

// startRows gives the rows that the form begins with: those of a draft, or those in force.
func (v *view) startRows(d *lexiconData) (rows []httpapi.LexiconRow, err error) {
	if d.LexiconInForce, err = ask[httpapi.LexiconInForce](v, http.MethodGet, "/v1/lexicon", nil); err != nil {
		return nil, err
	}
	if d.Base = v.baseID(); d.Base == "" {
		d.Mark = d.Version
		return d.Rows, nil
	}
	l, err := ask[httpapi.LexiconVersion](v, http.MethodGet, "/v1/lexicon-versions/"+escape(d.Base), nil)
	d.Mark, d.Draft = l.Base, l.Version
	return l.Rows, err
}

// unmapped gives the names that are not known and that the rows do not tell either.
func (v *view) unmapped(d *lexiconData, rows []httpapi.LexiconRow) (err error) {
	limit := namesShown
	if d.All {
		limit = mostNamesShown
	}
	if d.Unmapped, err = ask[httpapi.UnmappedNames](v, http.MethodGet, "/v1/lexicon/unmapped?limit="+strconv.Itoa(limit), nil); err != nil {
		return err
	}
	told := map[string]bool{}
	for _, r := range rows {
		told[keyOf(string(r.Kind), r.Match)] = true
	}
	for _, n := range d.Unmapped.Names {
		if !told[keyOf(string(n.Kind), n.Match)] {
			d.Names = append(d.Names, nameRow{n, field(string(n.Kind), n.Match)})
		}
	}
	return nil
}

func (v *view) lexicon(wrong string) (lexiconData, error) {
	d := lexiconData{
		MayEdit: v.grant.May("draftLexicon") == nil && v.grant.May("listUnmappedNames") == nil, All: v.query("all") != "" || v.form("all") != "",
		Typed: v.typed(), Wrong: wrong,
	}
	rows, err := v.startRows(&d)
	if err != nil {
		return d, err
	}
	for _, r := range rows {
		d.Own = append(d.Own, wordRowOf(r))
	}
	if len(d.Own) > mostRowsShown {
		d.Own, d.Hidden = d.Own[:mostRowsShown], len(d.Own)-mostRowsShown
	}
	if d.MayEdit {
		err = v.unmapped(&d, rows)
	}
	if status := statusOf(err); err != nil && status == http.StatusForbidden { // the whole site is looked at, which this person may not see
		d.MayEdit, err = false, nil
	}
	if err != nil {
		return d, err
	}
	c, err := v.colleagues()
	if err != nil {
		return d, err
	}
	list, err := ask[httpapi.LexiconVersionList](v, http.MethodGet, "/v1/lexicon-versions", nil)
	for _, l := range list.Versions {
		d.Versions = append(d.Versions, c.lexicon(l))
	}
	return d, err
}

// draftLexicon keeps a proposal: the rows that the form begins with as it changes them, the names to which it gives a class, and
// a row that was written.
func draftLexicon(v *view) (any, error) {
	again := func(wrong string) (any, error) { return v.lexicon(wrong) }
	d := lexiconData{All: v.form("all") != ""}
	began, err := v.startRows(&d)
	if err != nil {
		return nil, err
	}
	if v.form("mark") != strconv.Itoa(d.Mark) {
		return nil, &failure{status: http.StatusConflict}
	}
	if err := v.unmapped(&d, began); err != nil {
		return nil, err
	}
	rows := []httpapi.LexiconRow{}
	for _, r := range began {
		name := field(string(r.Kind), r.Match)
		if !v.c.Request().PostForm.Has("class-" + name) {
			rows = append(rows, r) // not shown
			continue
		}
		rows = v.classed(rows, string(r.Kind), r.Match, name)
	}
	for _, n := range d.Names {
		rows = v.classed(rows, string(n.Kind), n.Match, n.Field)
	}
	if v.text("new_match") != "" {
		rows = v.classed(rows, v.form("new_kind"), v.text("new_match"), "new")
	}
	if slices.EqualFunc(rows, began, func(a, b httpapi.LexiconRow) bool { return a == b }) {
		data, err := again(v.lang.Text("lexicon.nothing_changed"))
		return shown{http.StatusUnprocessableEntity, data}, err
	}
	l, err := ask[httpapi.LexiconVersion](v, http.MethodPost, "/v1/lexicon-versions", httpapi.LexiconRequest{Reason: v.text("reason"), Base: d.Mark, Rows: rows})
	return v.answered(err, "/lexicon/"+l.Id+"?done=lexicon-drafted", again)
}

// classed adds what the form says of a name; one without class is none.
func (v *view) classed(rows []httpapi.LexiconRow, kind, match, name string) []httpapi.LexiconRow {
	class := v.form("class-" + name)
	if class == "" {
		return rows
	}
	return append(rows, httpapi.LexiconRow{
		Kind: httpapi.LexiconRowKind(kind), Match: match, Class: class, Complexity: httpapi.LexiconRowComplexity(strings.TrimSpace(v.form("complexity-" + name))),
	})
}
