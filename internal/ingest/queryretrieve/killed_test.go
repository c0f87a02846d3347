package queryretrieve_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest"
	"afterbeam/internal/ingest/queryretrieve"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// killedVariable has the test's own program fetch from an archive and kill itself: its value is "store folder, address,
// the step at which".
const killedVariable = "AFTERBEAM_TEST_FETCH_KILLED"

// killing ends the process at a step of a fetch, before or after it is in the store.
type killing struct {
	*store.DB
	left int
}

func (k *killing) step() {
	if k.left--; k.left < 0 {
		_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
		select {}
	}
}

func (k *killing) NoteSearch(ctx context.Context, d store.ArchiveDay, found []store.Archived) (int, int, error) {
	k.step()
	added, held, err := k.DB.NoteSearch(ctx, d, found)
	k.step()
	return added, held, err
}

func (k *killing) NoteFetched(ctx context.Context, o store.Archived) error {
	k.step()
	err := k.DB.NoteFetched(ctx, o)
	k.step()
	return err
}

// runUntilKilled is the program that gets killed.
func runUntilKilled() {
	var dir, address string
	k := &killing{}
	_, err := fmt.Sscan(os.Getenv(killedVariable), &dir, &address, &k.left)
	if err == nil {
		k.DB, err = store.Open(context.Background(), store.Config{Dir: dir, Program: "test", Now: time.Now})
	}
	if err == nil {
		r := &rig{keeper: &ingest.Keeper{Vault: k.DB, Limits: dicomio.DefaultLimits(), Fatal: func(err error) { panic(err) }, Kept: func() {}}}
		cfg := r.config(address)
		cfg.Store, cfg.Log, cfg.By = k, slog.New(slog.NewTextHandler(io.Discard, nil)), queryretrieve.ByGet
		from, _ := time.Parse(time.DateOnly, firstDay)
		_, err = queryretrieve.Run(context.Background(), cfg, queryretrieve.Period{From: from, To: from.AddDate(0, 0, 1)})
	}
	if err != nil {
		_, _ = fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// TestKilled kills a fetch at each of its steps in turn, in one store after another, and runs it again: it goes on, and
// nothing is there twice.
func TestKilled(t *testing.T) {
	const count, steps = 4, 12 // two days of two steps, four objects of two
	address, all, _ := archive(t, "localhost:1", 0, count, count/2)
	want := map[string]int{}
	for _, one := range all {
		want[one.instance] = 1
	}
	for step := 0; step < steps; step += stride() {
		dir := copied(t)
		run := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^$")
		run.Env = append(os.Environ(), fmt.Sprintf("%s=%s %s %d", killedVariable, dir, address, step))
		out, err := run.CombinedOutput()
		var exit *exec.ExitError
		require.True(t, errors.As(err, &exit), "step %d: %s", step, out)
		require.Equal(t, syscall.SIGKILL, exit.Sys().(syscall.WaitStatus).Signal(), "step %d: %s", step, out)

		r := rigIn(t, dir)
		before := len(r.receipts(t))
		cfg := r.config(address)
		cfg.By = queryretrieve.ByGet
		counts, err := queryretrieve.Run(t.Context(), cfg, period(t, 2))
		require.NoError(t, err)
		assert.Equal(t, count-before, counts.Got, "step %d: what was kept is not asked for again", step)
		assert.Equal(t, want, r.receipts(t), "step %d", step)
		assert.Empty(t, r.lacking(t))
	}
}

// stride leaves out steps where no build machine looks.
func stride() int {
	if everything() {
		return 1
	}
	return 5
}
