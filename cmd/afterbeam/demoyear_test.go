package main

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/store"
)

// TestAYearGoesThroughTheService tells a service some of the year's cases, those that reach levels among them, and asks what it
// kept: every case on its own day, answers on the days on which they were given, nothing told to anybody, no organ doses.
func TestAYearGoesThroughTheService(t *testing.T) {
	dir := t.TempDir()
	profiles := filepath.Join(dir, "devices.toml")
	require.NoError(t, os.WriteFile(profiles, []byte(demo.ProfileFile()), 0o600))
	d, err := startDemo(t.Context(), dir, profiles, true, io.Discard)
	require.NoError(t, err)
	defer func() { require.NoError(t, d.stop()) }()
	var some []demo.YearCase
	for i, c := range demo.Year() {
		if i%60 == 0 || c.Class == "occlusion" && c.Start.Month() == 3 || !c.Sent && c.Start.Month() == 4 {
			some = append(some, c)
		}
	}
	var out bytes.Buffer
	p := printer{w: &out}
	require.NoError(t, d.year(t.Context(), &p, io.Discard, filepath.Join(dir, yearPerformedFile), some))
	ctx, db := t.Context(), d.works.db
	list, err := db.Cases(ctx, store.Filter{Limit: 500})
	require.NoError(t, err)
	kept := map[string]store.Case{}
	for _, c := range list {
		kept[c.StudyUID] = c
	}
	require.Len(t, kept, len(list), "one case a study")
	sent, answered := 0, 0
	for _, c := range some {
		if !c.Sent {
			continue
		}
		sent++
		one, ok := kept[c.Report.StudyUID]
		require.True(t, ok, c.File)
		assert.Equal(t, c.Start.Format("2006-01-02"), one.LocalDate, c.File)
		asks, err := db.Asks(ctx, store.AskFilter{CaseID: one.ID})
		require.NoError(t, err)
		for _, a := range asks {
			made := a.MadeAt.Format("2006-01-02")
			assert.LessOrEqual(t, one.LocalDate, made, "asked on the day of the case or of an answer")
			assert.Less(t, made, demo.CommitteeDay)
			if a.Answer == nil {
				continue
			}
			answered++
			assert.LessOrEqual(t, a.Answer.Day, a.At.Format("2006-01-02"), "answered on the day on which it was done or the centre's next one")
			assert.Less(t, a.At.Format("2006-01-02"), demo.CommitteeDay)
		}
		_, err = db.LastNotice(ctx, one.ID)
		require.ErrorIs(t, err, store.ErrNotFound, "nobody is told of the past")
		organs, err := db.OrgansBefore(ctx, one.ID)
		require.NoError(t, err)
		assert.Equal(t, "not computed for the year of the demonstration", organs.Reason)
	}
	assert.Greater(t, answered, 5)
	assert.Contains(t, out.String(), "all of it synthetic")
	assert.Len(t, kept, sent)
	assert.Equal(t, demo.CommitteeDay, db.Today())
	require.NoError(t, d.month(ctx, &p, dir))
	for _, name := range []string{"summary-2026-10.pdf", "summary-2026-10.xlsx"} {
		assert.FileExists(t, filepath.Join(dir, name))
		assert.Contains(t, out.String(), name)
	}
}
