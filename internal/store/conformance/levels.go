package conformance

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/store"
)

func levelTests() []test {
	return []test{
		{"levels are drafted by one and approved by another", levelsApproved},
		{"a set that flags nothing is refused", levelsRefused},
		{"approval has the last year and what is followed up estimated anew", levelsRecompute},
	}
}

var colleague = store.Actor{Account: "account of another physicist", Role: "physicist"}

func levelsApproved(t *testing.T, s *site) {
	_, is, err := s.db.LevelsInForce(ctx())
	require.NoError(t, err)
	assert.False(t, is)
	set := level.Default()
	set.PlainKAP = true
	draft, err := s.db.DraftLevels(ctx(), person, set, "as published, KAP plain")
	require.NoError(t, err)
	assert.Equal(t, "levels.draft", s.last(t).Action)
	_, _, err = s.db.ApproveLevels(ctx(), person, draft.ID, "mine")
	require.ErrorIs(t, err, store.ErrConflict)
	_, is, err = s.db.LevelsInForce(ctx())
	require.NoError(t, err)
	assert.False(t, is, "a draft is not in force")
	approved, _, err := s.db.ApproveLevels(ctx(), colleague, draft.ID, "read and agreed")
	require.NoError(t, err)
	assert.Equal(t, store.LevelsInForce, approved.State)
	assert.Equal(t, colleague.Account, approved.DecidedBy)
	got, is, err := s.db.LevelsInForce(ctx())
	require.NoError(t, err)
	assert.True(t, is)
	assert.Equal(t, set, got, "to the digit")
	second, err := s.db.DraftLevels(ctx(), colleague, level.Default(), "KAP scaled")
	require.NoError(t, err)
	assert.Equal(t, 2, second.Version)
	third, err := s.db.DraftLevels(ctx(), person, level.Default(), "a slip")
	require.NoError(t, err)
	withdrawn, err := s.db.WithdrawLevels(ctx(), person, third.ID, "a slip")
	require.NoError(t, err)
	assert.Equal(t, store.LevelsWithdrawn, withdrawn.State)
	_, _, err = s.db.ApproveLevels(ctx(), colleague, third.ID, "late")
	require.ErrorIs(t, err, store.ErrConflict)
	_, _, err = s.db.ApproveLevels(ctx(), person, second.ID, "read")
	require.NoError(t, err)
	all, err := s.db.LevelSets(ctx())
	require.NoError(t, err)
	require.Len(t, all, 3)
	assert.Equal(t, []store.LevelSetState{store.LevelsWithdrawn, store.LevelsInForce, store.LevelsReplaced},
		[]store.LevelSetState{all[0].State, all[1].State, all[2].State}, "nothing is erased")
}

func levelsRefused(t *testing.T, s *site) {
	off := level.Default()
	for i := range off.Rows {
		off.Rows[i].On = false
	}
	for name, set := range map[string]level.Set{"empty": {}, "all off": off} {
		_, err := s.db.DraftLevels(ctx(), person, set, "nothing")
		require.ErrorIs(t, err, store.ErrInvalid, name)
	}
	_, err := s.db.DraftLevels(ctx(), person, level.Default(), "")
	require.ErrorIs(t, err, store.ErrInvalid)
	_, err = s.db.LevelSet(ctx(), "nobody")
	require.ErrorIs(t, err, store.ErrNotFound)
}

func levelsRecompute(t *testing.T, s *site) {
	for study, of := range map[string]struct {
		day   string
		flags []store.Flag
	}{
		"2.25.1": {"2026-09-14", nil},
		"2.25.2": {"2025-01-10", nil},
		"2.25.3": {"2025-09-10", []store.Flag{flagOf("reached", 6)}},
	} {
		v := versionOf(caseOf(s.patientOf(t, study), study), study)
		v.Case.LocalDate, v.Flags = of.day, of.flags
		s.assess(t, v)
	}
	s.drain(t)
	draft, err := s.db.DraftLevels(ctx(), person, level.Default(), "as published")
	require.NoError(t, err)
	approved, asked, err := s.db.ApproveLevels(ctx(), colleague, draft.ID, "read")
	require.NoError(t, err)
	assert.Equal(t, approved.Recomputation, asked.ID)
	assert.Equal(t, 2, asked.Studies)
	assert.ElementsMatch(t, []string{"2.25.1", "2.25.3"}, subjects(s.drain(t)))
}

// patientOf makes a patient by a report of a study.
func (s *site) patientOf(t *testing.T, study string) string {
	t.Helper()
	return s.read(t, study, store.Identity{Number: "N" + study, Issuer: "Saltmarsh"}).PatientID
}
