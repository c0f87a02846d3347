package conformance

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
	"afterbeam/internal/store/object"
)

func backupTests() []test {
	return []test{
		{"a restored copy holds the same", copyEqual},
		{"nothing is ever overwritten", refusesNonEmpty},
		{"objects over the default limit are copied", largeObjects},
		{"damage is found and named", damage},
		{"damage does not keep the rest from being copied", damagedBackup},
		{"ready says so and changes nothing", readyChangesNothing},
	}
}

func copyEqual(t *testing.T, s *site) {
	id, c := s.assessed(t, nil)
	other, d := s.assessed(t, nil)
	s.keep(t, "an image", "odd")
	_, err := s.db.LinkPatients(ctx(), person, c.PatientID, d.PatientID, "same")
	require.NoError(t, err)
	records := s.records(t)
	backup, restored := filepath.Join(t.TempDir(), "backup"), filepath.Join(t.TempDir(), "restored")
	require.NoError(t, s.db.Backup(ctx(), backup))
	assert.Equal(t, "store.backup", s.last(t).Action)
	want, err := s.db.Verify(ctx(), nil)
	require.NoError(t, err)

	v, err := store.Restore(ctx(), backup, restored, "conformance")
	require.NoError(t, err)
	assert.True(t, v.Sound())
	assert.Equal(t, want.Objects, v.Objects)
	assert.Equal(t, want.Receipts, v.Receipts)
	assert.Empty(t, v.Orphans)

	cfg := s.config()
	cfg.Dir = restored
	twin := &site{db: s.open(t, cfg), dir: restored, clock: s.clock, open: s.open}
	defer func() { require.NoError(t, twin.db.Close()) }()
	assert.Equal(t, records, twin.records(t))
	for _, one := range []string{id, other} {
		wantVersion, err := s.db.Version(ctx(), one, 0)
		require.NoError(t, err)
		got, err := twin.db.Version(ctx(), one, 0)
		require.NoError(t, err)
		assert.Equal(t, wantVersion, got)
	}
	wantStates, err := s.db.States(ctx())
	require.NoError(t, err)
	states, err := twin.db.States(ctx())
	require.NoError(t, err)
	assert.Equal(t, wantStates, states)
	assert.Equal(t, s.groups(t, []string{c.PatientID, d.PatientID}), twin.groups(t, []string{c.PatientID, d.PatientID}))
	for _, state := range []store.ReceiptState{store.ReceiptRead, store.ReceiptQuarantined} {
		wantReceipts, err := s.db.Receipts(ctx(), state, "", 100)
		require.NoError(t, err)
		receipts, err := twin.db.Receipts(ctx(), state, "", 100)
		require.NoError(t, err)
		require.Equal(t, wantReceipts, receipts)
		for _, r := range receipts {
			wantRaw, err := s.db.Raw(r.Digest)
			require.NoError(t, err)
			raw, err := twin.db.Raw(r.Digest)
			require.NoError(t, err)
			assert.Equal(t, wantRaw, raw)
		}
	}
	twin.keep(t, "work goes on", "")
}

func refusesNonEmpty(t *testing.T, s *site) {
	s.keep(t, "a report", "")
	full := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(full, "there"), []byte("x"), 0o600))
	require.ErrorIs(t, s.db.Backup(ctx(), full), store.ErrNotEmpty)
	backup := filepath.Join(t.TempDir(), "backup")
	require.NoError(t, s.db.Backup(ctx(), backup))
	require.ErrorIs(t, s.db.Backup(ctx(), backup), store.ErrNotEmpty)
	_, err := store.Restore(ctx(), backup, full, "conformance")
	require.ErrorIs(t, err, store.ErrNotEmpty)
	_, err = store.Restore(ctx(), full, t.TempDir(), "conformance")
	require.ErrorIs(t, err, store.ErrNotFound, "no backup there")
	content, err := os.ReadFile(filepath.Join(full, "there"))
	require.NoError(t, err)
	assert.Equal(t, "x", string(content))
}

func largeObjects(t *testing.T, s *site) {
	require.NoError(t, s.db.Close())
	cfg := s.config()
	cfg.ObjectLimit = store.DefaultObjectLimit + 1024
	s.db = s.open(t, cfg)
	r := s.keep(t, string(make([]byte, store.DefaultObjectLimit+1)), "odd")
	backup, restored := filepath.Join(t.TempDir(), "backup"), filepath.Join(t.TempDir(), "restored")
	require.NoError(t, s.db.Backup(ctx(), backup))
	v, err := store.Restore(ctx(), backup, restored, "conformance")
	require.NoError(t, err)
	assert.True(t, v.Sound())
	s.reopen(t) // with the default limit again
	_, err = s.db.Raw(r.Digest)
	require.NoError(t, err, "a lower limit does not take away what was kept")
}

// objectFile finds the file of an object.
func (s *site) objectFile(t *testing.T, digest string) string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(s.dir, "objects", "*", digest+"*"))
	require.NoError(t, err)
	require.Len(t, found, 1)
	return found[0]
}

func damage(t *testing.T, s *site) {
	var all []store.Receipt
	for i := range 4 {
		all = append(all, s.keep(t, fmt.Sprintf("report %d", i), ""))
	}
	v, err := s.db.Verify(ctx(), nil)
	require.NoError(t, err)
	assert.True(t, v.Sound())
	require.NoError(t, os.Remove(s.objectFile(t, all[1].Digest)))
	require.NoError(t, os.WriteFile(s.objectFile(t, all[2].Digest), []byte("not what it was"), 0o600))
	orphan, err := s.db.Receive(ctx(), newReader("linked, then the power went"))
	require.NoError(t, err)
	require.NoError(t, orphan.Keep())
	v, err = s.db.Verify(ctx(), nil)
	require.NoError(t, err)
	assert.False(t, v.Sound())
	assert.Equal(t, []string{all[1].Digest}, v.Missing)
	assert.Equal(t, []string{all[2].Digest}, v.Corrupt)
	assert.Equal(t, []string{orphan.Digest}, v.Orphans)
	assert.NoError(t, v.Chain)
	_, err = s.db.Raw(all[2].Digest)
	require.ErrorIs(t, err, object.ErrCorrupt)
	// Sending the bytes once more heals both.
	s.keep(t, "report 1", "")
	s.keep(t, "report 2", "")
	v, err = s.db.Verify(ctx(), nil)
	require.NoError(t, err)
	assert.True(t, v.Sound(), "an orphan harms nothing")
}

func damagedBackup(t *testing.T, s *site) {
	bad := s.keep(t, "report 1", "")
	good := s.keep(t, "report 2", "")
	require.NoError(t, os.WriteFile(s.objectFile(t, bad.Digest), []byte("not what it was"), 0o600))
	backup, restored := filepath.Join(t.TempDir(), "backup"), filepath.Join(t.TempDir(), "restored")
	err := s.db.Backup(ctx(), backup)
	require.ErrorIs(t, err, object.ErrCorrupt)
	require.ErrorContains(t, err, bad.Digest)
	v, err := store.Restore(ctx(), backup, restored, "conformance")
	require.NoError(t, err)
	assert.Equal(t, []string{bad.Digest}, v.Missing)
	assert.Equal(t, 1, v.Objects)
	assert.False(t, v.Sound())
	cfg := s.config()
	cfg.Dir = restored
	twin := s.open(t, cfg)
	defer func() { require.NoError(t, twin.Close()) }()
	_, err = twin.Raw(good.Digest)
	require.NoError(t, err)
}

func readyChangesNothing(t *testing.T, s *site) {
	s.keep(t, "a report", "")
	before := s.records(t)
	for range 3 {
		require.NoError(t, s.db.Ready(ctx()))
	}
	assert.Equal(t, before, s.records(t))
	left, err := os.ReadDir(filepath.Join(s.dir, "arrivals"))
	require.NoError(t, err)
	assert.Empty(t, left)
	v, err := s.db.Verify(ctx(), nil)
	require.NoError(t, err)
	assert.Equal(t, 1, v.Objects)
	assert.True(t, v.Sound())
}
