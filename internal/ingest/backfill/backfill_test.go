package backfill_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"afterbeam/internal/demo"
	"afterbeam/internal/ingest"
	"afterbeam/internal/ingest/backfill"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func keeper(t testing.TB) (*ingest.Keeper, *store.DB) {
	t.Helper()
	db, err := store.Open(t.Context(), store.Config{Dir: t.TempDir(), Program: "test"})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, db.Close()) })
	return &ingest.Keeper{Vault: db, Limits: dicomio.DefaultLimits(), Fatal: func(err error) { t.Error(err) }, Kept: func() {}}, db
}

// report gives a small report of its own for each number.
func report(t testing.TB, n int) []byte {
	t.Helper()
	r := demo.Cases()[0].Report
	r.Events = r.Events[:1]
	r.StudyUID, r.SOPInstanceUID = fmt.Sprintf("2.25.77.%d", n), fmt.Sprintf("2.25.78.%d", n)
	r.Patient.ID = fmt.Sprintf("B-%d", n)
	var b bytes.Buffer
	require.NoError(t, rdsr.Write(&b, &r, rdsr.WriteOptions{}))
	return b.Bytes()
}

// archive writes so many reports over some folders, one report twice, and what is no report.
func archive(t testing.TB, n int) string {
	t.Helper()
	dir := t.TempDir()
	put := func(name string, content []byte) {
		file := filepath.Join(dir, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(file), 0o700))
		require.NoError(t, os.WriteFile(file, content, 0o600))
	}
	for i := range n {
		put(fmt.Sprintf("20%02d/%d/report-%d.dcm", i%10, i%3, i), report(t, i))
	}
	put("copy.dcm", report(t, 0))
	put("notes/letter.txt", []byte("no report"))
	put("notes/empty", nil)
	put("other.dcm", bytes.ReplaceAll(report(t, 1), []byte("1.2.840.10008.5.1.4.1.1.88.67"), []byte("1.2.840.10008.5.1.4.1.1.88.59")))
	put(".hidden/report.dcm", report(t, 1))
	require.NoError(t, os.Symlink(filepath.Join(dir, "copy.dcm"), filepath.Join(dir, "link.dcm")))
	return dir
}

func TestRunTakesEveryFileOnce(t *testing.T) {
	k, db := keeper(t)
	dir := archive(t, 30)
	var refused bytes.Buffer
	journal := filepath.Join(t.TempDir(), "journal")
	last, calls := 0, 0
	cfg := backfill.Config{Dir: dir, Keeper: k, Journal: journal, Refused: &refused, Progress: func(done, total int, bytes int64) {
		calls++
		assert.Equal(t, last+1, done)
		assert.LessOrEqual(t, done, total)
		assert.Positive(t, bytes+1)
		last = done
	}}
	got, err := backfill.Run(t.Context(), cfg)
	require.NoError(t, err)
	assert.Equal(t, backfill.Counts{Files: 34, New: 30, Again: 1, Quarantined: 1, Refused: 2, Bytes: got.Bytes}, got)
	assert.Equal(t, 34, calls)
	kept, err := db.Receipts(t.Context(), store.ReceiptKept, "", 100)
	require.NoError(t, err)
	assert.Len(t, kept, 30)
	for _, name := range []string{"notes/letter.txt,", "notes/empty,", "other.dcm,\"quarantined: "} {
		assert.Contains(t, refused.String(), name)
	}
	assert.Equal(t, 3, strings.Count(refused.String(), "\n"))

	// The second run passes over what is done, and says again what was refused.
	last = 0
	again, err := backfill.Run(t.Context(), cfg)
	require.NoError(t, err)
	assert.Equal(t, backfill.Counts{Files: 34, Passed: 32, Refused: 2, Bytes: got.Bytes}, again)

	// A line that was cut off is done again; so is a file that has changed.
	last = 0
	text, err := os.ReadFile(journal)
	require.NoError(t, err)
	assert.NotContains(t, string(text), "report")
	require.NoError(t, os.WriteFile(journal, text[:len(text)-10], 0o600))
	changed := filepath.Join(dir, "2000/0/report-0.dcm")
	require.NoError(t, os.Chtimes(changed, time.Now(), time.Now()))
	again, err = backfill.Run(t.Context(), cfg)
	require.NoError(t, err)
	assert.Equal(t, 2, again.Again+again.Quarantined, "%+v", again)
	assert.Zero(t, again.New)

	// Without a journal everything is handed on again, and nothing is new.
	last = 0
	cfg.Journal = ""
	again, err = backfill.Run(t.Context(), cfg)
	require.NoError(t, err)
	assert.Equal(t, 0, again.New)
	assert.Equal(t, 32, again.Again, "the object of the quarantine is known too")
}

type wrapped func(ctx context.Context, actor store.Actor, door string, body io.Reader) (store.Receipt, ingest.Answer, error)

func (w wrapped) KeepForLater(ctx context.Context, actor store.Actor, door string, body io.Reader) (store.Receipt, ingest.Answer, error) {
	return w(ctx, actor, door, body)
}

func TestRunWaitsForTheStorageAndCanBeStopped(t *testing.T) {
	k, _ := keeper(t)
	dir := archive(t, 6)
	var calls atomic.Int32
	journal := filepath.Join(t.TempDir(), "journal")
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	cfg := backfill.Config{Dir: dir, Journal: journal, Patience: time.Second}
	cfg.Keeper = wrapped(func(c context.Context, actor store.Actor, door string, body io.Reader) (store.Receipt, ingest.Answer, error) {
		switch calls.Add(1) {
		case 2:
			return store.Receipt{}, 0, fmt.Errorf("full: %w", store.ErrUnavailable)
		case 5:
			cancel()
			return store.Receipt{}, 0, c.Err()
		}
		return k.KeepForLater(c, actor, door, body)
	})
	stopped, err := backfill.Run(ctx, cfg)
	require.ErrorIs(t, err, context.Canceled)
	cfg.Keeper = k
	rest, err := backfill.Run(t.Context(), cfg)
	require.NoError(t, err)
	assert.Equal(t, 6, stopped.New+rest.New)
	assert.Equal(t, stopped.New+stopped.Again+stopped.Quarantined, rest.Passed, "what was done is passed over")

	cfg.Journal = ""
	cfg.Keeper = wrapped(func(context.Context, store.Actor, string, io.Reader) (store.Receipt, ingest.Answer, error) {
		return store.Receipt{}, 0, store.ErrUnavailable
	})
	_, err = backfill.Run(t.Context(), cfg)
	require.ErrorIs(t, err, store.ErrUnavailable, "patience ends")
}

func TestRunTellsReadingFromStorage(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "a.dcm"), report(t, 0), 0o600))
	gone := errors.New("disk error")
	_, err := backfill.Run(t.Context(), backfill.Config{Dir: dir, Keeper: wrapped(
		func(context.Context, store.Actor, string, io.Reader) (store.Receipt, ingest.Answer, error) {
			return store.Receipt{}, 0, &os.PathError{Op: "write", Path: "store", Err: gone}
		},
	)})
	require.ErrorIs(t, err, gone, "an error of the storage ends the run, it is not one of the file")

	// Both files are found before the first is kept; then the other goes.
	require.NoError(t, os.WriteFile(filepath.Join(dir, "b.dcm"), report(t, 1), 0o600))
	var refused bytes.Buffer
	got, err := backfill.Run(t.Context(), backfill.Config{Dir: dir, Refused: &refused, Keepers: 1, Keeper: wrapped(
		func(context.Context, store.Actor, string, io.Reader) (store.Receipt, ingest.Answer, error) {
			time.Sleep(50 * time.Millisecond)
			return store.Receipt{}, 0, errors.Join(os.RemoveAll(filepath.Join(dir, "a.dcm")), os.RemoveAll(filepath.Join(dir, "b.dcm")))
		},
	)})
	require.NoError(t, err)
	assert.Equal(t, 1, got.New)
	assert.Equal(t, 1, got.Unreadable)
	assert.Contains(t, refused.String(), "cannot be read: ")
}

func TestAForeignFileIsNoJournal(t *testing.T) {
	k, _ := keeper(t)
	name := filepath.Join(t.TempDir(), "precious.txt")
	require.NoError(t, os.WriteFile(name, []byte("dear diary\nand more\n"), 0o600))
	_, err := backfill.Run(t.Context(), backfill.Config{Dir: t.TempDir(), Keeper: k, Journal: name})
	require.ErrorContains(t, err, "is it a journal?")
	text, err := os.ReadFile(name)
	require.NoError(t, err)
	assert.Equal(t, "dear diary\nand more\n", string(text), "it is left as it was")
}
