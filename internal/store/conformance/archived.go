package conformance

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

func archivedTests() []test {
	return []test{
		{"what an archive has and the store lacks", archivedLacks},
		{"days that were searched", archivedDays},
		{"an object that came by another door", archivedElsewhere},
	}
}

const pastDay, nextDay = "2026-01-31", "2026-02-01"

// named gives objects as an archive names them.
func named(uids ...string) []store.Archived {
	var all []store.Archived
	for _, uid := range uids {
		all = append(all, store.Archived{SOPInstance: uid, SOPClass: "1.2", SeriesUID: "2.25.8", StudyUID: "2.25.9"})
	}
	return all
}

func lacking(t *testing.T, s *site, archive, from, to string) []string {
	t.Helper()
	all, err := s.db.Lacking(ctx(), archive, from, to)
	require.NoError(t, err)
	uids := []string{}
	for _, one := range all {
		uids = append(uids, one.SOPInstance)
	}
	return uids
}

func archivedLacks(t *testing.T, s *site) {
	added, held, err := s.db.NoteSearch(ctx(), store.ArchiveDay{Archive: "ARCHIVE", Day: nextDay}, named("2.25.3"))
	require.NoError(t, err)
	assert.Equal(t, [2]int{1, 0}, [2]int{added, held})
	added, held, err = s.db.NoteSearch(ctx(), store.ArchiveDay{Archive: "ARCHIVE", Day: pastDay}, named("2.25.2", "2.25.1"))
	require.NoError(t, err)
	assert.Equal(t, [2]int{2, 0}, [2]int{added, held})
	assert.Equal(t, []string{"2.25.1", "2.25.2", "2.25.3"}, lacking(t, s, "ARCHIVE", "", ""), "by day")
	assert.Equal(t, []string{"2.25.3"}, lacking(t, s, "ARCHIVE", nextDay, ""))
	assert.Equal(t, []string{"2.25.1", "2.25.2"}, lacking(t, s, "ARCHIVE", pastDay, pastDay))
	assert.Empty(t, lacking(t, s, "OTHER", "", ""), "another archive's own")

	require.NoError(t, s.db.NoteFetched(ctx(), store.Archived{Archive: "ARCHIVE", SOPInstance: "2.25.1", State: store.ArchivedGot}))
	require.NoError(t, s.db.NoteFetched(ctx(), store.Archived{Archive: "ARCHIVE", SOPInstance: "2.25.2", State: store.ArchivedFailed, Status: "A702", Reason: "no resources"}))
	all, err := s.db.Lacking(ctx(), "ARCHIVE", "", pastDay)
	require.NoError(t, err)
	require.Len(t, all, 1)
	assert.False(t, all[0].TriedAt.IsZero())
	all[0].TriedAt = all[0].TriedAt.UTC()
	assert.Equal(t, store.Archived{
		Archive: "ARCHIVE", SOPInstance: "2.25.2", SOPClass: "1.2", SeriesUID: "2.25.8", StudyUID: "2.25.9", Day: pastDay,
		State: store.ArchivedFailed, Attempts: 1, Status: "A702", Reason: "no resources", TriedAt: all[0].TriedAt,
	}, all[0])
	require.ErrorIs(t, s.db.NoteFetched(ctx(), store.Archived{Archive: "ARCHIVE", SOPInstance: "2.25.99", State: store.ArchivedGot}), store.ErrNotFound)

	added, _, err = s.db.NoteSearch(ctx(), store.ArchiveDay{Archive: "ARCHIVE", Day: pastDay}, named("2.25.1", "2.25.2"))
	require.NoError(t, err)
	assert.Zero(t, added, "searched again")
	again, err := s.db.Lacking(ctx(), "ARCHIVE", "", pastDay)
	require.NoError(t, err)
	assert.Equal(t, all, again, "with its history")
}

func archivedDays(t *testing.T, s *site) {
	day := store.ArchiveDay{Archive: "ARCHIVE", Day: pastDay, Studies: 5, Passed: 2, Problem: "not answered"}
	_, _, err := s.db.NoteSearch(ctx(), day, nil)
	require.NoError(t, err)
	days, err := s.db.SearchedDays(ctx(), "ARCHIVE", pastDay, pastDay)
	require.NoError(t, err)
	require.Len(t, days, 1)
	day.SearchedAt = days[0].SearchedAt
	assert.Equal(t, day, days[0])
	_, _, err = s.db.NoteSearch(ctx(), store.ArchiveDay{Archive: "ARCHIVE", Day: pastDay, Studies: 6}, nil)
	require.NoError(t, err)
	s.reopen(t)
	days, err = s.db.SearchedDays(ctx(), "ARCHIVE", "", "")
	require.NoError(t, err)
	require.Len(t, days, 1)
	assert.Equal(t, 6, days[0].Studies)
	assert.Empty(t, days[0].Problem)
	assert.True(t, days[0].SearchedAt.After(day.SearchedAt))
	none, err := s.db.SearchedDays(ctx(), "ARCHIVE", nextDay, "")
	require.NoError(t, err)
	assert.Empty(t, none)
}

func archivedElsewhere(t *testing.T, s *site) {
	r := s.keep(t, "a report of the past", "")
	added, held, err := s.db.NoteSearch(ctx(), store.ArchiveDay{Archive: "ARCHIVE", Day: pastDay}, named(r.SOPInstance, "2.25.77"))
	require.NoError(t, err)
	assert.Equal(t, [2]int{2, 1}, [2]int{added, held})
	assert.Equal(t, []string{"2.25.77"}, lacking(t, s, "ARCHIVE", "", ""))
}
