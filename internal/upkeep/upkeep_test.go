package upkeep_test

import (
	"bytes"
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"afterbeam/internal/audit"
	"afterbeam/internal/metric"
	"afterbeam/internal/store"
	"afterbeam/internal/upkeep"
	"afterbeam/internal/witness"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// site is a store with its upkeep and a clock that only the test moves.
type site struct {
	*upkeep.Worker
	now time.Time
	log *witness.Log
}

func newSite(t *testing.T, change func(*upkeep.Worker)) *site {
	t.Helper()
	s := &site{now: time.Date(2026, 9, 14, 8, 0, 0, 0, time.UTC), log: &witness.Log{}}
	dir := t.TempDir()
	now := func() time.Time { return s.now }
	db, err := store.Open(context.Background(), store.Config{Dir: filepath.Join(dir, "store"), Program: "test", Now: now})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	a, err := db.Receive(t.Context(), bytes.NewReader([]byte("a report")))
	require.NoError(t, err)
	require.NoError(t, a.Keep())
	_, _, err = db.Accept(t.Context(), store.System("test"), store.Arrival{Digest: a.Digest, Size: 8, Door: "test", SOPClass: "1.2", SOPInstance: "2.25.1", StudyUID: "2.25.2"})
	require.NoError(t, err)
	s.Worker = &upkeep.Worker{
		Store: db, StoreDir: filepath.Join(dir, "store"), ChainEvery: 12 * time.Hour, Program: "test", Started: s.now, Now: now,
		Backups: upkeep.Backups{Dir: filepath.Join(dir, "backups"), Every: 24 * time.Hour, Keep: 2, Verify: true},
		Log:     slog.New(slog.NewJSONHandler(s.log, nil)), Fatal: func(err error) { assert.NoError(t, err) },
	}
	if change != nil {
		change(s.Worker)
	}
	return s
}

// after moves the clock and looks.
func (s *site) after(t *testing.T, d time.Duration) {
	t.Helper()
	s.now = s.now.Add(d)
	s.Look(t.Context())
}

func (s *site) runs(t *testing.T, kind store.Upkeep) (outcomes []string) {
	t.Helper()
	all, err := s.Store.Runs(t.Context(), kind, 100)
	require.NoError(t, err)
	for _, r := range all {
		outcomes = append(outcomes, r.Outcome)
	}
	return outcomes
}

func (s *site) kept(t *testing.T) (days []string) {
	t.Helper()
	all, err := s.Backups.List()
	require.NoError(t, err)
	for _, c := range all {
		days = append(days, c.At.Format("2006-01-02 15:04"))
	}
	return days
}

// alarms tells which alarms hold by the measurements that the worker exposes.
func (s *site) alarms(t *testing.T) (ids []string) {
	t.Helper()
	registry := prometheus.NewPedanticRegistry()
	require.NoError(t, registry.Register(s.Worker))
	families, err := registry.Gather()
	require.NoError(t, err)
	for _, a := range metric.Now(families) {
		if a.Metric != "afterbeam_disk_free_ratio" && a.Metric != "afterbeam_disk_free_bytes" { // those of this machine
			ids = append(ids, a.ID)
		}
	}
	return ids
}

func TestBackupsAreMadeInTimeAndTheOldestGo(t *testing.T) {
	s := newSite(t, nil)
	s.after(t, time.Minute)
	assert.Equal(t, []string{"2026-09-14 08:01"}, s.kept(t), "at once where there is none")
	s.after(t, 23*time.Hour)
	assert.Len(t, s.kept(t), 1, "not before its time")
	s.after(t, time.Hour)
	s.after(t, 24*time.Hour)
	assert.Equal(t, []string{"2026-09-16 08:01", "2026-09-15 08:01"}, s.kept(t), "two stay")
	assert.Equal(t, []string{"sound", "sound", "sound"}, s.runs(t, store.BackupRun))
	runs, err := s.Store.Runs(t.Context(), store.BackupRun, 1)
	require.NoError(t, err)
	assert.Equal(t, "afterbeam-20260916T080100Z: 1 receipts, 1 objects, 0 missing, 0 corrupt, 10 audit records, chain whole, database ok, 0 rows of summaries differ; 1 older removed", runs[0].Detail)
	require.NoError(t, os.RemoveAll(s.Backups.Dir))
	s.after(t, time.Minute)
	assert.Len(t, s.kept(t), 1, "somebody took them away")
	all, err := s.Backups.List()
	require.NoError(t, err)
	v, err := store.Restore(t.Context(), all[0].Dir, filepath.Join(t.TempDir(), "again"), "test")
	require.NoError(t, err)
	assert.True(t, v.Sound())
}

func TestABackupThatFailsIsTriedAgainAndToldOf(t *testing.T) {
	s := newSite(t, nil)
	require.NoError(t, os.MkdirAll(filepath.Join(s.Backups.Dir, "afterbeam-20260901T000000Z.part", "objects"), 0o700))
	s.after(t, time.Minute)
	require.Equal(t, []string{"drill-old"}, s.alarms(t), "all is well, and no restore was ever tried")
	left, err := filepath.Glob(filepath.Join(s.Backups.Dir, "*.part"))
	require.NoError(t, err)
	assert.Empty(t, left, "what was broken off is cleared")

	// A file where the folder should be.
	good := s.Backups.Dir
	s.Backups.Dir = filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(s.Backups.Dir, nil, 0o600))
	s.after(t, 24*time.Hour)
	assert.Equal(t, []string{"failed", "sound"}, s.runs(t, store.BackupRun))
	assert.Contains(t, s.alarms(t), "backup-failed")
	assert.Contains(t, s.log.String(), "upkeep failed")
	s.after(t, 59*time.Minute)
	assert.Len(t, s.runs(t, store.BackupRun), 2, "not at once again")
	s.after(t, 3*time.Hour)
	assert.Len(t, s.runs(t, store.BackupRun), 3)
	assert.Contains(t, s.alarms(t), "backup-late")
	s.Backups.Dir = good
	s.after(t, time.Hour)
	assert.Equal(t, []string{"drill-old"}, s.alarms(t))
}

func TestNoBackupIsAnAlarmOfItsOwn(t *testing.T) {
	s := newSite(t, func(w *upkeep.Worker) { w.Backups.Dir = "" })
	s.after(t, time.Hour)
	assert.Empty(t, s.runs(t, store.BackupRun))
	assert.Equal(t, []string{"no-backup"}, s.alarms(t))
}

func TestABrokenChainIsFound(t *testing.T) {
	s := newSite(t, func(w *upkeep.Worker) { w.Backups.Dir = "" })
	state, err := s.State(t.Context())
	require.NoError(t, err)
	assert.False(t, state.Chain.Checked)
	s.after(t, time.Minute)
	state, err = s.State(t.Context())
	require.NoError(t, err)
	assert.True(t, state.Chain.Sound)
	assert.Equal(t, s.now, state.Chain.SoundAt)
	_, err = s.Store.Anchor(t.Context())
	require.NoError(t, err)

	// The anchor of another chain: the tail was cut and written anew.
	require.NoError(t, os.WriteFile(filepath.Join(s.StoreDir, "audit-anchor.json"), []byte(`{"sequence":1,"time":"2026-09-14T08:00:00Z","hash":"`+audit.Genesis+`"}`), 0o600))
	s.after(t, 13*time.Hour)
	state, err = s.State(t.Context())
	require.NoError(t, err)
	assert.True(t, state.Chain.Checked)
	assert.False(t, state.Chain.Sound)
	assert.Contains(t, s.alarms(t), "audit-broken")
	assert.Equal(t, []string{"failed", "sound"}, s.runs(t, store.ChainRun))
}

func TestCertificatesAreCountedInDays(t *testing.T) {
	for name, tt := range map[string]struct {
		left time.Duration
		want []string
	}{
		"31 days": {31 * 24 * time.Hour, nil},
		"29 days": {29 * 24 * time.Hour, []string{"certificate-30"}},
		"6 days":  {6 * 24 * time.Hour, []string{"certificate-30", "certificate-7"}},
		"ended":   {-time.Hour, []string{"certificate-30", "certificate-7", "certificate-1"}},
	} {
		t.Run(name, func(t *testing.T) {
			s := newSite(t, nil)
			s.after(t, time.Minute)
			s.Certificates = []upkeep.Certificate{{Name: "http", Ends: s.now.Add(tt.left)}}
			assert.Equal(t, append(tt.want, "drill-old"), reordered(s.alarms(t)))
		})
	}
}

// reordered puts the alarm that every site without a drill has last.
func reordered(ids []string) (all []string) {
	for _, id := range ids {
		if id != "drill-old" {
			all = append(all, id)
		}
	}
	return append(all, "drill-old")
}

func TestAGoodDrillEndsItsAlarm(t *testing.T) {
	s := newSite(t, nil)
	s.after(t, time.Minute)
	all, err := s.Backups.List()
	require.NoError(t, err)
	scratch := t.TempDir()
	drill := upkeep.Drill{Store: s.Store, From: all[0], Scratch: scratch, Program: "test", Now: s.Now}
	r, err := drill.Run(t.Context())
	require.NoError(t, err)
	assert.True(t, r.Sound())
	assert.Positive(t, r.Bytes)
	left, err := os.ReadDir(scratch)
	require.NoError(t, err)
	assert.Empty(t, left, "patients' data do not stay behind")
	assert.Empty(t, s.alarms(t))
	drill.From.Dir = filepath.Join(scratch, "none")
	_, err = drill.Run(t.Context())
	require.ErrorIs(t, err, store.ErrNotFound)
	assert.Equal(t, []string{"failed", "sound"}, s.runs(t, store.DrillRun))
}

// TestADrillOfAnotherStore tries the backup of another store: sound in itself, and not this one's.
func TestADrillOfAnotherStore(t *testing.T) {
	s, other := newSite(t, nil), newSite(t, nil)
	other.after(t, time.Minute)
	s.after(t, time.Hour)
	all, err := other.Backups.List()
	require.NoError(t, err)
	r, err := upkeep.Drill{Store: s.Store, From: all[0], Scratch: t.TempDir(), Program: "test", Now: s.Now}.Run(t.Context())
	require.ErrorIs(t, err, upkeep.ErrUnsound)
	assert.True(t, r.Verification.Sound())
	assert.False(t, r.Comparison.Continued)
	assert.NotEmpty(t, r.Comparison.Differing)
}

func TestRunEndsWithItsContext(t *testing.T) {
	s := newSite(t, nil)
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { s.Run(ctx); close(done) }()
	stop()
	<-done
}
