package backfill_test

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/ingest"
	"afterbeam/internal/ingest/backfill"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
)

var files = flag.Int("files", 200, "reports of the back-fill whose memory is measured")

// mostMemory is the goal for the process of the service during a back-fill of 10,000 small reports.
const mostMemory = 300 << 20

// TestMemory takes in small reports while the pipeline reads and estimates them, and watches the memory of the process. -files 10000 is the full measure.
func TestMemory(t *testing.T) {
	k, db := keeper(t)
	p := &ingest.Pipeline{
		Store: db, Method: assessment.Default(), Reading: rdsr.Options{Site: time.UTC}, Quiet: time.Hour, Workers: 2,
		Summarise: func(a assessment.Assessment) ([]byte, error) { return json.Marshal(a.SkinDose.Value) },
		Fatal:     func(err error) { t.Error(err) }, Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Now: time.Now,
	}
	k.Kept = p.Wake
	dir := t.TempDir()
	for i := range *files {
		name := filepath.Join(dir, fmt.Sprint(i%100), fmt.Sprintf("%d.dcm", i))
		require.NoError(t, os.MkdirAll(filepath.Dir(name), 0o700))
		require.NoError(t, os.WriteFile(name, report(t, i), 0o600))
	}
	ctx, stop := context.WithCancel(t.Context())
	var running sync.WaitGroup
	running.Go(func() { p.Run(ctx) })
	var most uint64
	running.Go(func() {
		for ctx.Err() == nil {
			most = max(most, held(t))
			time.Sleep(5 * time.Millisecond)
		}
	})
	begun := time.Now()
	got, err := backfill.Run(t.Context(), backfill.Config{Dir: dir, Keeper: k, Journal: filepath.Join(t.TempDir(), "journal")})
	require.NoError(t, err)
	assert.Equal(t, *files, got.New)
	taken := time.Since(begun)
	require.Eventually(t, func() bool {
		b, err := db.Backlog(t.Context())
		return err == nil && b.Waiting == 0
	}, time.Hour, 50*time.Millisecond)
	done := time.Since(begun)
	stop()
	running.Wait()
	cases, err := db.Cases(t.Context(), store.Filter{Limit: *files + 1})
	require.NoError(t, err)
	assert.Len(t, cases, *files)
	t.Logf("%d reports kept in %s, estimated in %s, at most %d MB", *files, taken.Round(time.Millisecond), done.Round(time.Millisecond), most>>20)
	assert.Less(t, most, uint64(mostMemory))
}

// held is the resident memory of the process, that of the database included, which asks the system for its own.
func held(t *testing.T) uint64 {
	text, err := os.ReadFile("/proc/self/statm")
	if !assert.NoError(t, err) {
		return 0
	}
	var size, resident uint64
	_, err = fmt.Sscan(string(text), &size, &resident)
	assert.NoError(t, err)
	return resident * uint64(os.Getpagesize())
}
