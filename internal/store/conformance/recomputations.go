package conformance

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

func recomputationTests() []test {
	return []test{
		{"differences are kept with progress", differences},
		{"what follows from it belongs to it", followed},
		{"an estimate that began before does not settle it", begunBefore},
		{"a job that fails for good is told", failedStudy},
		{"scopes and lists", recomputationScopes},
		{"new methods ask for everything once", renew},
	}
}

func (s *site) recompute(t *testing.T, r store.Recomputation) store.Recomputation {
	t.Helper()
	r.Reason = "a test"
	r, err := s.db.Recompute(ctx(), person, r)
	require.NoError(t, err)
	return r
}

func (s *site) recomputation(t *testing.T, id string) store.Recomputation {
	t.Helper()
	r, err := s.db.Recomputation(ctx(), id)
	require.NoError(t, err)
	return r
}

func (s *site) differences(t *testing.T, id string) []store.Difference {
	t.Helper()
	all, err := s.db.Differences(ctx(), id, "", 100)
	require.NoError(t, err)
	return all
}

func differences(t *testing.T, s *site) {
	id, c := s.assessed(t, nil)
	_, same := s.assessed(t, nil)
	_, flagged := s.assessed(t, nil)
	r := s.recompute(t, store.Recomputation{})
	assert.Equal(t, []any{3, 3, 0, true, person.Account}, []any{r.Studies, r.Waiting, r.Changed, r.Running(), r.AskedBy})

	c.PSD, c.PSDHigh, c.FlagState = quantity.Some[quantity.Gray](5.5), quantity.None[quantity.Gray](), "near"
	v := versionOf(c, "second")
	v.Change = "another device profile"
	s.assess(t, v)
	s.assess(t, versionOf(same, "digest of "+same.StudyUID))
	now := s.recomputation(t, r.ID)
	assert.Equal(t, []any{3, 1, 1, true}, []any{now.Studies, now.Waiting, now.Changed, now.EndedAt.IsZero()})
	s.assess(t, versionOf(flagged, "details"))
	now = s.recomputation(t, r.ID)
	assert.Equal(t, []any{0, 2, false, false}, []any{now.Waiting, now.Changed, now.Running(), now.EndedAt.IsZero()})

	all := s.differences(t, r.ID)
	require.Len(t, all, 2, "the case that came out the same is not there")
	for _, d := range all {
		assert.Equal(t, []int{1, 2}, []int{d.VersionBefore, d.VersionAfter})
		if d.Case.ID != id {
			assert.Empty(t, d.Numbers)
			assert.Equal(t, "first estimate", d.Change)
			continue
		}
		assert.Equal(t, []string{"reached", "near", "another device profile"}, []string{d.FlagBefore, d.FlagAfter, d.Change})
		assert.Equal(t, []store.NumberChange{
			{Quantity: "peak_skin_dose", Before: quantity.Some(4.5), After: quantity.Some(5.5)},
			{Quantity: "peak_skin_dose_high", Before: quantity.Some(6.0)},
		}, d.Numbers)
	}
	page, err := s.db.Differences(ctx(), r.ID, "", 1)
	require.NoError(t, err)
	rest, err := s.db.Differences(ctx(), r.ID, page[0].Case.ID, 5)
	require.NoError(t, err)
	assert.Equal(t, all, append(page, rest...))

	// Afterwards a change is no difference of it any more.
	require.NoError(t, s.db.AddFacts(ctx(), person, id, "2-0", []store.Fact{{Name: "weight_kg", Value: "70"}}))
	c.PSD = quantity.Some[quantity.Gray](9)
	s.assess(t, versionOf(c, "third"))
	assert.Equal(t, all[0].Numbers, s.differences(t, r.ID)[0].Numbers)
	assert.Equal(t, all[1].VersionAfter, s.differences(t, r.ID)[1].VersionAfter)
}

func followed(t *testing.T, s *site) {
	who := store.Identity{Number: "W", Issuer: "Saltmarsh"}
	early := caseOf(s.read(t, "2.25.1", who).PatientID, "2.25.1")
	early.LocalDate = "2026-09-01"
	s.assess(t, versionOf(early, "early"))
	late := caseOf(s.read(t, "2.25.2", who).PatientID, "2.25.2")
	late.LocalDate, late.DeviceKey = "2026-09-20", "another"
	s.assess(t, versionOf(late, "late"))
	s.drain(t)
	r := s.recompute(t, store.Recomputation{DeviceID: s.device(t, "Hybrid 1").ID})
	require.Equal(t, 1, r.Studies)
	v := versionOf(early, "early 2")
	v.Case.PSD = quantity.Some[quantity.Gray](5)
	v.Window = store.Window{Touched: []store.Span{{From: "2026-09-01", To: "2026-10-31"}}}
	s.assess(t, v)
	now := s.recomputation(t, r.ID)
	assert.Equal(t, []int{2, 1}, []int{now.Studies, now.Waiting}, "the sum of the other procedure follows")
	late.FlagState = "near"
	s.assess(t, versionOf(late, "late 2"))
	now = s.recomputation(t, r.ID)
	assert.Equal(t, []int{2, 0, 2}, []int{now.Studies, now.Waiting, now.Changed})
}

func begunBefore(t *testing.T, s *site) {
	id, c := s.assessed(t, nil)
	require.NoError(t, s.db.AddFacts(ctx(), person, id, "1-0", []store.Fact{{Name: "weight_kg", Value: "70"}}))
	begun := s.lease(t, store.JobAssess, c.StudyUID)
	r := s.recompute(t, store.Recomputation{DeviceID: s.device(t, "Hybrid 1").ID, From: "2026-09-14", To: "2026-09-14"})
	c.PSD = quantity.Some[quantity.Gray](5)
	_, err := s.db.SaveAssessment(ctx(), begun, []store.Version{versionOf(c, "old profile")})
	require.NoError(t, err)
	assert.True(t, s.recomputation(t, r.ID).Running(), "what was begun before may rest on what held before")
	c.PSD, c.FlagState = quantity.Some[quantity.Gray](4.5), "near"
	s.assess(t, versionOf(c, "new profile"))
	assert.False(t, s.recomputation(t, r.ID).Running())
	all := s.differences(t, r.ID)
	require.Len(t, all, 1)
	assert.Empty(t, all[0].Numbers, "the number came back to what it was")
	assert.Equal(t, []any{1, 3, "reached", "near"}, []any{all[0].VersionBefore, all[0].VersionAfter, all[0].FlagBefore, all[0].FlagAfter})

	// The first estimate of a study that is under way is asked for again, though its case is not there yet.
	fresh := s.read(t, "2.25.77", store.Identity{Number: "F", Issuer: "Saltmarsh"})
	first := s.lease(t, store.JobAssess, fresh.StudyUID)
	r = s.recompute(t, store.Recomputation{DeviceID: s.device(t, "Hybrid 1").ID, From: "2030-01-01"})
	assert.Equal(t, 1, r.Studies)
	_, err = s.db.SaveAssessment(ctx(), first, nil)
	require.NoError(t, err)
	assert.Equal(t, []string{fresh.StudyUID}, subjects(s.drain(t)))
}

func failedStudy(t *testing.T, s *site) {
	_, c := s.assessed(t, nil)
	r := s.recompute(t, store.Recomputation{})
	for range store.MaxAttempts {
		require.NoError(t, s.db.Retry(ctx(), s.lease(t, store.JobAssess, c.StudyUID), "odd", s.clock.Now()))
	}
	now := s.recomputation(t, r.ID)
	assert.Equal(t, []any{0, 1, false}, []any{now.Waiting, now.Failed, now.Running()})
	_, err := s.db.RetryFailed(ctx(), person, "the fault is mended")
	require.NoError(t, err)
	c.FlagState = "near"
	s.assess(t, versionOf(c, "after the repair"))
	now = s.recomputation(t, r.ID)
	assert.Equal(t, []int{0, 0, 1}, []int{now.Waiting, now.Failed, now.Changed})
}

func recomputationScopes(t *testing.T, s *site) {
	_, err := s.db.Recompute(ctx(), person, store.Recomputation{DeviceID: "nowhere", Reason: "a test"})
	require.ErrorIs(t, err, store.ErrNotFound)
	s.caseOn(t, "2.25.7", "2026-09-01")
	s.caseOn(t, "2.25.7", "2026-09-02")
	s.caseOn(t, "2.25.8", "2026-09-02")
	s.drain(t)
	id := s.device(t, "2.25.7").ID
	var asked []store.Recomputation
	for _, tt := range []struct {
		scope store.Recomputation
		want  int
	}{
		{store.Recomputation{}, 3},
		{store.Recomputation{DeviceID: id}, 2},
		{store.Recomputation{DeviceID: id, From: "2026-09-02"}, 1},
		{store.Recomputation{DeviceID: id, To: "2026-08-31"}, 0},
		{store.Recomputation{From: "2026-09-02", To: "2026-09-02"}, 2},
	} {
		r := s.recompute(t, tt.scope)
		assert.Equal(t, tt.want, r.Studies, "%+v", tt.scope)
		asked = append([]store.Recomputation{r}, asked...)
	}
	s.drain(t)
	all, err := s.db.Recomputations(ctx(), "", 10)
	require.NoError(t, err)
	assert.Equal(t, asked, all, "newest first")
	rest, err := s.db.Recomputations(ctx(), all[1].ID, 2)
	require.NoError(t, err)
	assert.Equal(t, all[2:4], rest)
	s.reopen(t)
	assert.Equal(t, all[0], s.recomputation(t, all[0].ID))
}

func renew(t *testing.T, s *site) {
	ask := func(methods string, want int) {
		t.Helper()
		n, err := s.db.Renew(ctx(), methods)
		require.NoError(t, err)
		assert.Equal(t, want, n)
	}
	ask("methods 1", 0)
	s.assessed(t, nil)
	s.drain(t)
	before := s.records(t)
	ask("methods 1", 0)
	assert.Equal(t, before, s.records(t))
	ask("methods 2", 1)
	ask("methods 2", 0)
	all, err := s.db.Recomputations(ctx(), "", 10)
	require.NoError(t, err)
	require.Len(t, all, 1)
	assert.Equal(t, "methods, tables or levels are new", all[0].Reason)
	s.clock.forward(time.Hour)
	assert.Len(t, s.drain(t), 1)
}
