package ingest_test

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

// TestWhatArrivesNowWaitsForNoBackfill has a report arrive behind ten of a back-fill, and behind the estimating anew of
// everything: two steps of one worker later its case is there.
func TestWhatArrivesNowWaitsForNoBackfill(t *testing.T) {
	r := newRig(t)
	base := scene(t, stageOne, 3)
	const past = 10
	for n := range past {
		_, _, err := r.keeper.KeepForLater(t.Context(), store.System("test"), "back-fill", bytes.NewReader(written(t, renamed(base, n))))
		require.NoError(t, err)
	}
	arrives := func(n int) {
		now := renamed(base, n)
		r.send(t, now)
		for range 2 {
			worked, err := r.pipeline.Step(t.Context(), "the only worker")
			require.NoError(t, err)
			require.True(t, worked)
		}
		r.the(t, now.StudyUID)
	}
	arrives(100)
	require.Len(t, r.cases(t), 1, "nothing of the back-fill was done before")
	r.work(t)
	require.Len(t, r.cases(t), 1+past, "what may wait is done when nothing else is left")

	asked, err := r.db.Recompute(t.Context(), store.System("test"), store.Recomputation{Reason: "another method"})
	require.NoError(t, err)
	require.Equal(t, 1+past, asked.Studies)
	arrives(200)
	backlog, err := r.db.Backlog(t.Context())
	require.NoError(t, err)
	assert.Equal(t, 1+past, backlog.Waiting, "nothing was estimated anew before")
}
