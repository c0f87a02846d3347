package httpapi_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/httpapi"
)

// oneLevel proposes a single level of Ka,r in Gy.
func oneLevel(gy float64) string {
	return fmt.Sprintf(`{"reason":"the committee wants to hear earlier","rows":[{"scheme":"site","title":"Site levels","id":"kar","meaning":"follow-up",
		"quantity":"kar","value":%v,"on":true,"text":"","source":"committee","known":"judgement"}]}`, gy)
}

func levelSetPath(rest, body string) func(*rig, string) (string, string, []string) {
	return func(r *rig, _ string) (string, string, []string) {
		s, err := r.db.DraftLevels(context.Background(), actor, level.Default(), "as published")
		require.NoError(r.t, err)
		return "/v1/level-sets/" + s.ID + rest, body, nil
	}
}

func TestLevelsChangeByTwoPeople(t *testing.T) {
	r := newRig(t, nil)
	c := r.stranger(own) // Ka,r 5.5 Gy, estimated peak skin dose 3.5 Gy
	author, second := r.physicist(), r.physicist()
	var levels httpapi.LevelsInForce
	r.ask("GET", "/v1/levels", author, "").into(t, &levels)
	assert.Equal(t, httpapi.LevelsInForceFromSettings, levels.From)
	assert.Equal(t, levels.Published, levels.Rows)

	for name, body := range map[string]string{
		"no rows":    `{"reason":"nothing","rows":[]}`,
		"nothing on": `{"reason":"nothing","rows":[{"scheme":"site","title":"t","id":"kar","meaning":"m","quantity":"kar","value":4,"on":false,"text":"","source":"s","known":"read"}]}`,
		"no value":   `{"reason":"nothing","rows":[{"scheme":"site","title":"t","id":"kar","meaning":"m","quantity":"kar","on":true,"text":"","source":"s","known":"read"}]}`,
	} {
		assert.Equal(t, 400, r.ask("POST", "/v1/level-sets", author, body).status, name)
	}
	var draft httpapi.LevelSet
	a := r.ask("POST", "/v1/level-sets", author, oneLevel(6))
	require.Equal(t, 201, a.status, string(a.body))
	a.into(t, &draft)
	assert.Equal(t, 1, draft.Version)

	var p httpapi.LevelPreview
	r.ask("GET", "/v1/level-sets/"+draft.Id+"/preview", author, "").into(t, &p)
	assert.Equal(t, 1, p.Procedures)
	require.Len(t, p.Differences, 1)
	assert.Equal(t, httpapi.LevelDifference{
		ProcedureId: c.ID, Before: "reached", After: "below", Gained: []string{}, Lost: []string{"ncrp168/psd", "ncrp168/kar", "ncrp168/kap", "mppg12a/notify"},
	}, p.Differences[0])

	a = r.ask("POST", "/v1/level-sets/"+draft.Id+"/approve", author, reason)
	assert.Equal(t, 409, a.status)
	assert.Contains(t, string(a.body), "who drafted")
	var approved httpapi.ApprovedLevels
	a = r.ask("POST", "/v1/level-sets/"+draft.Id+"/approve", second, reason)
	require.Equal(t, 200, a.status, string(a.body))
	a.into(t, &approved)
	assert.Equal(t, httpapi.LevelSetState("in force"), approved.LevelSet.State)
	assert.Equal(t, 1, approved.Recomputation.Studies, "the case is estimated anew")
	assert.Equal(t, approved.Recomputation.Id, *approved.LevelSet.RecomputationId)
	r.ask("GET", "/v1/levels", author, "").into(t, &levels)
	assert.Equal(t, httpapi.LevelsInForceFromLevelSet, levels.From)
	assert.Len(t, levels.Rows, 1)

	r.ask("POST", "/v1/level-sets", author, oneLevel(5)).into(t, &draft)
	assert.Equal(t, 200, r.ask("POST", "/v1/level-sets/"+draft.Id+"/approve", second, reason).status)
	var list httpapi.LevelSetList
	r.ask("GET", "/v1/level-sets", author, "").into(t, &list)
	require.Len(t, list.Sets, 2)
	assert.Equal(t, []httpapi.LevelSetState{"in force", "replaced"}, []httpapi.LevelSetState{list.Sets[0].State, list.Sets[1].State})
	assert.Equal(t, 409, r.ask("POST", "/v1/level-sets/"+draft.Id+"/withdraw", second, reason).status)
}
