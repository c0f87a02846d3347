package web

import (
	"net/http"
	"slices"
	"strconv"
	"strings"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
)

func levelPages() []page {
	in, set := []access.Operation{"getLevels"}, []access.Operation{"getLevels", "getLevelSet", "listColleagues"}
	draft := []access.Operation{"getLevels", "getLevelSet", "draftLevels"}
	return []page{
		{method: http.MethodGet, path: "/levels", title: "levels.title", template: "levels.html", needs: in, listed: true, serve: showLevels},
		{method: http.MethodGet, path: "/levels/draft", title: "levels.draft_title", template: "leveldraft.html", needs: draft, serve: func(v *view) (any, error) { return v.levelDraft("") }},
		{method: http.MethodPost, path: "/levels/draft", title: "levels.draft_title", template: "leveldraft.html", needs: draft, serve: draftLevels},
		{method: http.MethodGet, path: "/levels/:id", title: "levels.set_title", template: "levelset.html", needs: set, serve: func(v *view) (any, error) { return v.levelSet("") }},
		{method: http.MethodPost, path: "/levels/:id/approve", title: "levels.set_title", template: "levelset.html", needs: append(set, "approveLevels"), serve: func(v *view) (any, error) { return decideLevels(v, "approve", "levels-approved") }},
		{method: http.MethodPost, path: "/levels/:id/withdraw", title: "levels.set_title", template: "levelset.html", needs: append(set, "withdrawLevels"), serve: func(v *view) (any, error) { return decideLevels(v, "withdraw", "levels-withdrawn") }},
	}
}

// levelRow is a level with its numbers as they are written.
type levelRow struct {
	httpapi.LevelRow
	Number     int
	Value      string // with its unit, "" for a rule without a number
	Step       string
	Plain      string // the value alone, for a form
	PlainStep  string
	Unit       string
	ForClasses string // in words, "" for every class
	// OldFrom and OldBelow are the ages it is for, in years.
	OldFrom, OldBelow string
}

// scheme is the levels of one name.
type scheme struct {
	Name, Title string
	On          int // how many are in force
	Rows        []levelRow
}

func unitOf(q httpapi.LevelRowQuantity) string {
	switch q {
	case httpapi.LevelRowQuantityPsd, httpapi.LevelRowQuantityKar:
		return "Gy"
	case httpapi.LevelRowQuantityKap:
		return "Gy·cm²"
	case httpapi.LevelRowQuantityFt:
		return "min"
	case httpapi.LevelRowQuantityNone:
	}
	return ""
}

// plainly writes a number of a level as it was written, "" for none.
func plainly(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', -1, 64)
}

func levelRowOf(n int, r httpapi.LevelRow) levelRow {
	row := levelRow{LevelRow: r, Number: n, Unit: unitOf(r.Quantity), Plain: plainly(r.Value), PlainStep: plainly(r.Step), OldFrom: plainly(r.AgeFrom), OldBelow: plainly(r.AgeBelow)}
	if r.Value != nil {
		row.Value = row.Plain + " " + row.Unit
	}
	if r.Step != nil {
		row.Step = row.PlainStep + " " + row.Unit
	}
	if r.Classes != nil {
		var titles []string
		for _, id := range *r.Classes {
			titles = append(titles, classTitle(id))
		}
		row.ForClasses = strings.Join(titles, ", ")
	}
	return row
}

// schemes groups levels by their scheme, in their order.
func schemes(rows []httpapi.LevelRow) []scheme {
	var all []scheme
	for n, r := range rows {
		i := slices.IndexFunc(all, func(s scheme) bool { return s.Name == r.Scheme })
		if i < 0 {
			i = len(all)
			all = append(all, scheme{Name: r.Scheme, Title: r.Title})
		}
		all[i].Rows = append(all[i].Rows, levelRowOf(n, r))
		if r.On {
			all[i].On++
		}
	}
	return all
}

// levelsData is the levels in force and their versions.
type levelsData struct {
	httpapi.LevelsInForce
	Number   int // of the version in force, 0 for the table of the settings
	Schemes  []scheme
	Sets     []setRow
	SeesSets bool
	MayDraft bool
}

type setRow struct {
	httpapi.LevelSet
	By, Decider string
}

func (c colleagues) set(s httpapi.LevelSet) setRow {
	by, decider := c.both(s.Author, s.DecidedBy)
	return setRow{LevelSet: s, By: by, Decider: decider}
}

func showLevels(v *view) (any, error) {
	in, err := ask[httpapi.LevelsInForce](v, http.MethodGet, "/v1/levels", nil)
	d := levelsData{LevelsInForce: in, Schemes: schemes(in.Rows), SeesSets: v.grant.May("listLevelSets") == nil, MayDraft: v.grant.May("draftLevels") == nil}
	if in.Version != nil {
		d.Number = *in.Version
	}
	if err != nil || !d.SeesSets {
		return d, err
	}
	c, err := v.colleagues()
	if err != nil {
		return nil, err
	}
	list, err := ask[httpapi.LevelSetList](v, http.MethodGet, "/v1/level-sets", nil)
	for _, s := range list.Sets {
		d.Sets = append(d.Sets, c.set(s))
	}
	return d, err
}

// setData is one version, with what it changes.
type setData struct {
	Set     setRow
	Schemes []scheme
	Changes []change
	// KAPChange tells that it scales levels of KAP otherwise than what is in force.
	KAPChange bool
	Preview   *httpapi.LevelPreview
	// Mine tells that the person wrote it: another one approves.
	Mine, MayApprove, MayWithdraw bool
	Typed                         typed
	Wrong                         string
}

// change is a level that is otherwise than in force.
type change struct {
	Kind          string // new, gone or other
	Before, After *levelRow
}

// changes compares versions, level by level.
func changes(before, after []httpapi.LevelRow) []change {
	key := func(r httpapi.LevelRow) string { return r.Scheme + "\x00" + r.Id }
	was := map[string]levelRow{}
	for n, r := range before {
		was[key(r)] = levelRowOf(n, r)
	}
	var all []change
	for n, r := range after {
		row := levelRowOf(n, r)
		old, there := was[key(r)]
		delete(was, key(r))
		switch {
		case !there:
			all = append(all, change{Kind: "new", After: &row})
		case differ(old, row):
			all = append(all, change{Kind: "other", Before: &old, After: &row})
		}
	}
	for n, r := range before {
		if _, gone := was[key(r)]; gone {
			row := levelRowOf(n, r)
			all = append(all, change{Kind: "gone", Before: &row})
		}
	}
	return all
}

func differ(a, b levelRow) bool {
	return a.On != b.On || a.Value != b.Value || a.Step != b.Step || a.Quantity != b.Quantity || a.Meaning != b.Meaning || a.ForClasses != b.ForClasses ||
		a.Text != b.Text || a.Source != b.Source || a.Known != b.Known || a.OldFrom != b.OldFrom || a.OldBelow != b.OldBelow || (a.Pregnant != nil) != (b.Pregnant != nil)
}

func (v *view) levelSet(wrong string) (setData, error) {
	d := setData{Wrong: wrong, Typed: v.typed()}
	id := escape(v.param("id"))
	s, err := ask[httpapi.LevelSet](v, http.MethodGet, "/v1/level-sets/"+id, nil)
	if err != nil {
		return d, err
	}
	c, err := v.colleagues()
	if err != nil {
		return d, err
	}
	d.Set, d.Schemes, d.Mine = c.set(s), schemes(s.Rows), s.Author == v.grant.Account.ID
	if s.State != httpapi.LevelSetStateDraft {
		return d, nil
	}
	in, err := ask[httpapi.LevelsInForce](v, http.MethodGet, "/v1/levels", nil)
	if err != nil {
		return d, err
	}
	d.Changes, d.KAPChange = changes(in.Rows, s.Rows), in.PlainKap != s.PlainKap
	d.MayApprove, d.MayWithdraw = v.grant.May("approveLevels") == nil && !d.Mine, v.grant.May("withdrawLevels") == nil
	if v.grant.May("previewLevels") != nil {
		return d, nil
	}
	p, err := ask[httpapi.LevelPreview](v, http.MethodGet, "/v1/level-sets/"+id+"/preview", nil)
	if statusOf(err) == http.StatusForbidden && err != nil { // the whole site is looked at, which this person may not see
		return d, nil
	}
	d.Preview = &p
	return d, err
}

// decideLevels puts a draft in force or ends it.
func decideLevels(v *view, how, done string) (any, error) {
	id := escape(v.param("id"))
	_, err := v.call(http.MethodPost, "/v1/level-sets/"+id+"/"+how, httpapi.ReasonRequest{Reason: v.text("reason")})
	return v.answered(err, "/levels/"+id+"?done="+done, func(wrong string) (any, error) { return v.levelSet(wrong) })
}
