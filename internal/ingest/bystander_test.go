package ingest_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

// TestBystandersOfDeathsGoFree has a report whose reading ends the process at once, and one beside it that takes longer
// than that: only the first is set aside.
func TestBystandersOfDeathsGoFree(t *testing.T) {
	for name, deadlyFirst := range map[string]bool{"the deadly one came first": true, "the deadly one came second": false} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t)
			first, _ := r.keep(t, written(t, renamed(scene(t, stageOne, 3), 1)))
			second, _ := r.keep(t, written(t, renamed(scene(t, stageOne, 3), 2)))
			deadly, slow := first.ID, second.ID
			if !deadlyFirst {
				deadly, slow = slow, deadly
			}
			deaths, done := 0, false
			for round := 0; round < 100; round++ {
				var leased []store.Job
				for range 2 { // workers
					if job, err := r.db.Lease(t.Context(), "worker", 2*time.Minute); err == nil && job.Attempt <= 3*store.MaxAttempts {
						leased = append(leased, job)
					}
				}
				dies := false
				for _, job := range leased {
					dies = dies || job.Subject == deadly
				}
				if dies {
					deaths++
					require.NoError(t, r.db.Resume(t.Context()))
					continue
				}
				for _, job := range leased { // there is time for it
					done = done || job.Subject == slow
					require.NoError(t, r.db.Finish(t.Context(), job))
				}
				r.clock.Pass(10 * time.Second)
			}
			assert.True(t, done, "the slow one is read")
			assert.Equal(t, 3*store.MaxAttempts, deaths)
		})
	}
}
