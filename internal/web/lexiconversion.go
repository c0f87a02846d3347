package web

import (
	"net/http"

	"afterbeam/internal/httpapi"
)

// lexiconVersionData is one version, with what it moves while it is a draft, and what came of it once it is in force.
type lexiconVersionData struct {
	Version lexiconRow
	Own     []wordRow
	Changes []wordChange
	Preview *httpapi.LexiconPreview
	// Overtaken tells that another version came in force since it was drafted.
	Overtaken               bool
	MayPublish, MayWithdraw bool
	// Estimates is how far the estimates have come that it asked for, where the person may see it.
	Estimates *httpapi.Recomputation
	Typed     typed
	Wrong     string
}

// wordChange is a row that is otherwise than in force.
type wordChange struct {
	Kind          string // new, gone or other
	Before, After *wordRow
}

// wordChanges compares the rows of versions.
func wordChanges(before, after []httpapi.LexiconRow) []wordChange {
	was := map[string]wordRow{}
	for _, r := range before {
		was[keyOf(string(r.Kind), r.Match)] = wordRowOf(r)
	}
	var all []wordChange
	for _, r := range after {
		row, key := wordRowOf(r), keyOf(string(r.Kind), r.Match)
		old, there := was[key]
		delete(was, key)
		switch {
		case !there:
			all = append(all, wordChange{Kind: "new", After: &row})
		case old.LexiconRow != r:
			all = append(all, wordChange{Kind: "other", Before: &old, After: &row})
		}
	}
	for _, r := range before {
		if _, gone := was[keyOf(string(r.Kind), r.Match)]; gone {
			row := wordRowOf(r)
			all = append(all, wordChange{Kind: "gone", Before: &row})
		}
	}
	return all
}

// kindShown is a class with its complexity, in words.
type kindShown struct{ Class, Complexity string }

// Kind gives the words of a class and its complexity.
func (lexiconVersionData) Kind(k httpapi.ClassKind) kindShown {
	return kindShown{classTitle(k.Class), k.Complexity}
}

func (v *view) lexiconVersion(wrong string) (lexiconVersionData, error) {
	d := lexiconVersionData{Wrong: wrong, Typed: v.typed()}
	id := escape(v.param("id"))
	l, err := ask[httpapi.LexiconVersion](v, http.MethodGet, "/v1/lexicon-versions/"+id, nil)
	if err != nil {
		return d, err
	}
	c, err := v.colleagues()
	if err != nil {
		return d, err
	}
	d.Version = c.lexicon(l)
	for _, r := range l.Rows {
		d.Own = append(d.Own, wordRowOf(r))
	}
	if l.State == httpapi.LexiconDraft {
		return d, v.lookAhead(&d)
	}
	if l.RecomputationId == nil || v.grant.May("getRecomputation") != nil {
		return d, nil
	}
	r, err := ask[httpapi.Recomputation](v, http.MethodGet, "/v1/recomputations/"+escape(*l.RecomputationId), nil)
	if err != nil && statusOf(err) == http.StatusForbidden {
		return d, nil
	}
	d.Estimates = &r
	return d, err
}

// lookAhead says what a draft changes.
func (v *view) lookAhead(d *lexiconVersionData) error {
	in, err := ask[httpapi.LexiconInForce](v, http.MethodGet, "/v1/lexicon", nil)
	if err != nil {
		return err
	}
	d.Changes, d.Overtaken = wordChanges(in.Rows, d.Version.Rows), in.Version != d.Version.Base
	d.MayPublish, d.MayWithdraw = v.grant.May("publishLexicon") == nil && !d.Overtaken, v.grant.May("withdrawLexicon") == nil
	if v.grant.May("previewLexicon") != nil {
		return nil
	}
	p, err := ask[httpapi.LexiconPreview](v, http.MethodGet, "/v1/lexicon-versions/"+escape(d.Version.Id)+"/preview", nil)
	if err != nil && statusOf(err) == http.StatusForbidden { // the whole site is looked at, which this person may not see
		d.MayPublish, d.MayWithdraw = false, false
		return nil
	}
	d.Preview = &p
	return err
}

// decideLexicon puts a draft in force or ends it.
func decideLexicon(v *view, how, done string) (any, error) {
	id := escape(v.param("id"))
	_, err := v.call(http.MethodPost, "/v1/lexicon-versions/"+id+"/"+how, httpapi.ReasonRequest{Reason: v.text("reason")})
	return v.answered(err, "/lexicon/"+id+"?done="+done, func(wrong string) (any, error) { return v.lexiconVersion(wrong) })
}
