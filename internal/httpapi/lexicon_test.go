package httpapi_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/store"
)

// wordsOf proposes one description of the site, over what is in force.
func (r *rig) wordsOf(description, class string) string {
	r.t.Helper()
	now, _, err := r.db.LexiconInForce(context.Background())
	require.NoError(r.t, err)
	return fmt.Sprintf(`{"reason":"as the site calls it","base":%d,"rows":[{"kind":"description","match":%q,"class":%q,"complexity":"standard"}]}`, now, description, class)
}

func lexiconPath(rest, body string) func(*rig, string) (string, string, []string) {
	return func(r *rig, _ string) (string, string, []string) {
		now, _, err := r.db.LexiconInForce(context.Background())
		require.NoError(r.t, err)
		l, err := r.db.DraftLexicon(context.Background(), actor, now, nil, "none of our own")
		require.NoError(r.t, err)
		return "/v1/lexicon-versions/" + l.ID + rest, body, nil
	}
}

// called makes a case by its names alone.
func (r *rig) called(class string, names lexicon.Names) store.Case {
	r.t.Helper()
	c := r.stranger(own)
	j := r.jobFor(c.StudyUID)
	c.Class = class
	ids, err := r.db.SaveAssessment(context.Background(), j, []store.Version{{
		Case: c, Methods: "test 1", Digest: "named", Change: "named", Summary: []byte(`{}`), Body: []byte("body"), Names: &names,
	}})
	require.NoError(r.t, err)
	c, err = r.db.Case(context.Background(), ids[0])
	require.NoError(r.t, err)
	return c
}

// jobFor has a study estimated anew, and gives its job.
func (r *rig) jobFor(study string) store.Job {
	r.t.Helper()
	_, err := r.db.Recompute(context.Background(), actor, store.Recomputation{Reason: "test"})
	require.NoError(r.t, err)
	for {
		j := r.lease(store.JobAssess)
		if j.Subject == study {
			return j
		}
		require.NoError(r.t, r.db.Finish(context.Background(), j))
	}
}

// TestTheQualityRolePublishesALexicon finds what is not known, proposes a class for it, looks at what moves and puts it in force.
func TestTheQualityRolePublishesALexicon(t *testing.T) {
	r := newRig(t, nil)
	c := r.called("unclassified", lexicon.Names{Description: "Big one, room 3", Protocols: []string{"Abdomen DSA"}})
	r.called("neuro", lexicon.Names{Description: "Cerebral angiography"})
	quality, _ := r.account(access.Quality, nil)

	var l httpapi.LexiconInForce
	r.ask("GET", "/v1/lexicon", quality, "").into(t, &l)
	assert.Equal(t, 0, l.Version)
	assert.Empty(t, l.Rows)
	assert.Greater(t, len(l.Table), 100)
	assert.NotContains(t, l.Classes, httpapi.ProcedureClass{Id: "unclassified", Title: "unclassified"})

	var unmapped httpapi.UnmappedNames
	r.ask("GET", "/v1/lexicon/unmapped", quality, "").into(t, &unmapped)
	assert.Equal(t, 1, unmapped.Procedures)
	require.Len(t, unmapped.Names, 2)
	day := "2026-09-14"
	assert.Equal(t, httpapi.UnmappedName{Kind: "description", Match: "Big one, room 3", Procedures: 1, Last12Months: 1, LastDay: &day}, unmapped.Names[0])

	var draft httpapi.LexiconVersion
	a := r.ask("POST", "/v1/lexicon-versions", quality, r.wordsOf("big ONE room 3", "aortic_complex"))
	require.Equal(t, 201, a.status, string(a.body))
	a.into(t, &draft)
	assert.Equal(t, 1, draft.Version)
	var p httpapi.LexiconPreview
	r.ask("GET", "/v1/lexicon-versions/"+draft.Id+"/preview", quality, "").into(t, &p)
	assert.Equal(t, 1, p.Moving)
	to := httpapi.ClassKind{Class: "aortic_complex", Complexity: "standard"}
	assert.Equal(t, []httpapi.LexiconMove{{From: httpapi.ClassKind{Class: "unclassified"}, To: to, Procedures: 1, Last12Months: 1}}, p.Moves)
	assert.Equal(t, []httpapi.MovedProcedure{{ProcedureId: c.ID, LocalDate: &day, From: httpapi.ClassKind{Class: "unclassified"}, To: to}}, p.Moved)
	assert.False(t, p.LevelsByClass)

	var done httpapi.PublishedLexicon
	a = r.ask("POST", "/v1/lexicon-versions/"+draft.Id+"/publish", quality, reason)
	require.Equal(t, 200, a.status, string(a.body))
	a.into(t, &done)
	assert.Equal(t, httpapi.LexiconInForceNow, done.Lexicon.State)
	assert.Equal(t, 1, done.Recomputation.Studies, "the one that moves")
	assert.Equal(t, 200, r.ask("GET", "/v1/recomputations/"+done.Recomputation.Id+"/differences", quality, "").status)
	r.ask("GET", "/v1/lexicon", quality, "").into(t, &l)
	assert.Equal(t, 1, l.Version)
	r.ask("GET", "/v1/lexicon/unmapped", quality, "").into(t, &unmapped)
	assert.Equal(t, 0, unmapped.Procedures, "known from now on")
	assert.Equal(t, 409, r.ask("POST", "/v1/lexicon-versions/"+draft.Id+"/publish", quality, reason).status)
}

func TestALexiconThatCannotBeUsed(t *testing.T) {
	r := newRig(t, nil)
	quality, _ := r.account(access.Quality, nil)
	row := func(kind, match, class string) string {
		return fmt.Sprintf(`{"kind":%q,"match":%q,"class":%q,"complexity":""}`, kind, match, class)
	}
	tests := map[string]struct {
		rows, want string
		status     int
	}{
		"no such class":     {row("text", "heart", "cardiac"), "class", 400},
		"no class":          {row("text", "heart", "unclassified"), "class", 400},
		"no word":           {row("description", "--", "neuro"), "word", 400},
		"no scheme":         {row("code", "123", "neuro"), "value|scheme", 400},
		"twice":             {row("text", "heart", "neuro") + "," + row("text", "HEART", "visceral"), "twice", 400},
		"kind":              {row("word", "heart", "neuro"), "rows", 400},
		"another is newer":  {row("text", "heart", "neuro"), "in force now", 409},
		"nothing but space": {row("protocol", " ", "neuro"), "word", 400},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			base := 0
			if tt.status == 409 {
				base = 7
			}
			a := r.ask("POST", "/v1/lexicon-versions", quality, fmt.Sprintf(`{"reason":"a try","base":%d,"rows":[%s]}`, base, tt.rows))
			assert.Equal(t, tt.status, a.status)
			assert.Contains(t, string(a.body), tt.want)
		})
	}
	many := strings.Repeat(row("text", strings.Repeat("n", 400), "neuro")+",", 300)
	a := r.ask("POST", "/v1/lexicon-versions", quality, fmt.Sprintf(`{"reason":"larger than other bodies","base":0,"rows":[%s]}`, strings.TrimSuffix(many, ",")))
	assert.Equal(t, 400, a.status)
	assert.Contains(t, string(a.body), "twice", "it was read to the end")
}

// TestWhatAClassRuleDecides has a level for one class alone: a procedure that moves into it is flagged.
func TestWhatAClassRuleDecides(t *testing.T) {
	r := newRig(t, func(c *httpapi.Config) {
		c.Levels = level.Set{Rows: []level.Row{{
			Scheme: "site", Title: "Site", ID: "kar", Meaning: "follow-up", Quantity: level.Kerma, Value: 5, On: true, Source: "committee", Known: "judgement",
			Rule: level.Rule{Classes: "neuro"},
		}}}
	})
	c := r.called("visceral", lexicon.Names{Description: "Renal stent"}) // Ka,r 5.5 Gy
	quality, _ := r.account(access.Quality, nil)
	var draft httpapi.LexiconVersion
	r.ask("POST", "/v1/lexicon-versions", quality, r.wordsOf("Renal stent", "neuro")).into(t, &draft)
	var p httpapi.LexiconPreview
	r.ask("GET", "/v1/lexicon-versions/"+draft.Id+"/preview", quality, "").into(t, &p)
	assert.True(t, p.LevelsByClass)
	assert.Equal(t, []httpapi.LevelDifference{{ProcedureId: c.ID, Before: "below", After: "reached", Gained: []string{"site/kar"}, Lost: []string{}}}, p.Differences)
}
