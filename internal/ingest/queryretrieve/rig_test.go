package queryretrieve_test

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"afterbeam/internal/demo"
	"afterbeam/internal/ingest"
	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/ingest/queryretrieve"
	"afterbeam/internal/peer"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
	"afterbeam/internal/witness"
)

func TestMain(m *testing.M) {
	if os.Getenv(killedVariable) != "" {
		runUntilKilled()
		return
	}
	goleak.VerifyTestMain(m, goleak.Cleanup(func(status int) {
		_ = os.RemoveAll(empty())
		os.Exit(status)
	}))
}

// empty is the folder of a store without anything, of which the tests take copies: making one anew for each of them costs
// most of their time.
var empty = sync.OnceValue(func() string {
	dir, err := os.MkdirTemp("", "fetch")
	if err == nil {
		var db *store.DB
		if db, err = store.Open(context.Background(), store.Config{Dir: dir, Program: "test", Now: time.Now}); err == nil {
			err = db.Close()
		}
	}
	if err != nil {
		panic(err)
	}
	return dir
})

const (
	archiveTitle = "ARCHIVE"
	ourTitle     = "AFTERBEAM"
	firstDay     = "2026-01-01"
)

// limits are those of peers that are quick or wrong.
func limits() upper.Limits {
	l := upper.DefaultLimits()
	l.ARTIM, l.Idle, l.Transfer = 30*time.Second, 30*time.Second, 30*time.Second
	return l
}

// rig is a store with a keeper, and the door that C-MOVE sends to.
type rig struct {
	db     *store.DB
	log    *witness.Log
	keeper *ingest.Keeper
	door   string // host:port
}

func newRig(t testing.TB) *rig {
	t.Helper()
	return rigIn(t, copied(t))
}

// copied gives a folder with an empty store.
func copied(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.CopyFS(dir, os.DirFS(empty())))
	return dir
}

func rigIn(t testing.TB, dir string) *rig {
	t.Helper()
	db, err := store.Open(t.Context(), store.Config{Dir: dir, Program: "test", Now: time.Now})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, db.Close()) })
	r := &rig{db: db, log: &witness.Log{}}
	r.keeper = &ingest.Keeper{Vault: db, Limits: dicomio.DefaultLimits(), Fatal: func(err error) { t.Error(err) }, Kept: func() {}}
	door, err := dimse.New(dimse.Config{
		Title: ourTitle, Limits: limits(), Associations: 8, PerPeer: 8, Log: slog.New(slog.NewTextHandler(r.log, nil)), Services: dimse.Storage(r.keeper),
	})
	require.NoError(t, err)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- door.Serve(ctx, l, nil) }()
	t.Cleanup(func() {
		stop()
		assert.ErrorIs(t, <-ended, context.Canceled)
	})
	r.door = l.Addr().String()
	return r
}

// config asks the archive at an address as fast as it can, without pauses.
func (r *rig) config(address string) queryretrieve.Config {
	return queryretrieve.Config{
		Address: address, Title: archiveTitle, Requestor: upper.Requestor{Limits: limits(), Calling: ourTitle}, Destination: ourTitle, By: queryretrieve.ByEither,
		Attempts: 1, Store: r.db, Keeper: r.keeper, Log: slog.New(slog.NewTextHandler(r.log, nil)), Now: time.Now,
		Sleep: func(ctx context.Context, _ time.Duration) error { return ctx.Err() },
	}
}

// period is some days from the first one on.
func period(t testing.TB, days int) queryretrieve.Period { return periodFrom(t, 0, days) }

func periodFrom(t testing.TB, skip, days int) queryretrieve.Period {
	t.Helper()
	from, err := time.Parse(time.DateOnly, firstDay)
	require.NoError(t, err)
	return queryretrieve.Period{From: from.AddDate(0, 0, skip), To: from.AddDate(0, 0, skip+days-1)}
}

func (r *rig) lacking(t testing.TB) map[string]store.Archived {
	t.Helper()
	all, err := r.db.Lacking(t.Context(), archiveTitle, "", "")
	require.NoError(t, err)
	by := map[string]store.Archived{}
	for _, one := range all {
		by[one.SOPInstance] = one
	}
	return by
}

// keep keeps an object that came by another door.
func (r *rig) keep(t testing.TB, content []byte) {
	t.Helper()
	_, _, err := r.keeper.Keep(t.Context(), store.System("test"), "folder", bytes.NewReader(content))
	require.NoError(t, err)
}

// receipts counts the receipts of each SOP instance.
func (r *rig) receipts(t testing.TB) map[string]int {
	t.Helper()
	counts := map[string]int{}
	for _, state := range []store.ReceiptState{store.ReceiptKept, store.ReceiptQuarantined} {
		all, err := r.db.Receipts(t.Context(), state, "", 100_000)
		require.NoError(t, err)
		for _, one := range all {
			counts[one.SOPInstance]++
		}
	}
	return counts
}

// study is one small study of the archive.
type study struct{ instance, day string }

// small gives a report of totals alone, as the n-th of so many on a day.
func small(t testing.TB, n, perDay int) (study, []byte) {
	t.Helper()
	from, err := time.Parse(time.DateOnly, firstDay)
	require.NoError(t, err)
	day := from.AddDate(0, 0, n/perDay)
	r := totals()
	r.SOPInstanceUID, r.StudyUID, r.SeriesUID = fmt.Sprintf("2.25.1%05d", n), fmt.Sprintf("2.25.2%05d", n), fmt.Sprintf("2.25.3%05d", n)
	r.ScopeUID, r.Patient.ID = r.StudyUID, fmt.Sprintf("SYN-A%05d", n)
	set := rdsr.DataSet(&r, rdsr.WriteOptions{})
	for i := range set {
		if set[i].Tag == 0x00080020 { // StudyDate
			set[i].Values = []string{day.Format("20060102")}
		}
	}
	var b bytes.Buffer
	require.NoError(t, dicomio.Write(&b, set, dicomio.ExplicitLittleEndian))
	return study{r.SOPInstanceUID, day.Format(time.DateOnly)}, b.Bytes()
}

// totals is a report without events, so that many are quick. It is made once: each call of the scenario makes all anew.
var totals = sync.OnceValue(func() procedure.Report {
	for _, c := range demo.Cases() {
		if c.File == "mobile-rhythm-device.dcm" {
			return c.Report
		}
	}
	panic("the scenario has no such report")
})

// archive runs DCMTK's archive with small studies from the first-th on, so many on each day, that knows a door.
func archive(t *testing.T, door string, first, count, perDay int) (address string, all []study, area string) {
	t.Helper()
	files := map[string][]byte{}
	for n := range count {
		one, content := small(t, first+n, perDay)
		files[file(n)] = content
		all = append(all, one)
	}
	address, area = peer.Archive{
		Title: archiveTitle, DoorTitle: ourTitle, Door: door, Studies: 5000, Files: files, Log: &witness.Log{},
	}.Run(t)
	return address, all, area
}

func file(n int) string { return fmt.Sprintf("%05d.dcm", n) }

// everything tells whether the tests run at full size: in continuous integration.
func everything() bool {
	v := os.Getenv("CI")
	return v == "1" || v == "true"
}
