package ingest_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/level"
)

const lowLevel = `scheme,title,id,meaning,quantity,value,step,unit,on,text,source,known
site,Site levels,kar,follow-up,kar,0.000001,,Gy,yes,,committee,judgement
`

// TestApprovedLevelsAreUsedAndListed approves another set: what was estimated becomes new versions with other flags and asks,
// and the recomputation lists each; a draft changes nothing, and a start later finds nothing new.
func TestApprovedLevelsAreUsedAndListed(t *testing.T) {
	r := newRig(t)
	report := scene(t, stageOne, 3)
	r.send(t, report)
	r.settle(t)
	before := r.the(t, report.StudyUID)
	set, err := level.Parse(strings.NewReader(lowLevel))
	require.NoError(t, err)
	draft, err := r.db.DraftLevels(t.Context(), author, set, "the committee wants to hear of every case")
	require.NoError(t, err)
	r.settle(t)
	require.Equal(t, before.Number, r.the(t, report.StudyUID).Number, "a draft changes nothing")

	_, asked, err := r.db.ApproveLevels(t.Context(), signer, draft.ID, "read and agreed")
	require.NoError(t, err)
	assert.Equal(t, 1, asked.Studies)
	r.settle(t)
	v := r.the(t, report.StudyUID)
	assert.Equal(t, before.Number+1, v.Number)
	require.Len(t, v.Flags, 1)
	assert.Equal(t, []string{"site", "kar", "reached", "follow-up"}, []string{v.Flags[0].Scheme, v.Flags[0].LevelID, v.Flags[0].State, v.Flags[0].Meaning})
	flags, err := r.db.RaisedFlags(t.Context(), v.Case.ID)
	require.NoError(t, err)
	assert.NotEmpty(t, flags)
	list, err := r.db.Differences(t.Context(), asked.ID, "", 10)
	require.NoError(t, err)
	require.Len(t, list, 1)
	assert.Equal(t, "reached", list[0].FlagAfter)
	assert.Equal(t, before.Number, list[0].VersionBefore)
}
