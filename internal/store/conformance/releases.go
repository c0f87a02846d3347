package conformance

import (
	"errors"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

func releaseTests() []test {
	return []test{
		{"a release wants a second person", releaseOfTwo},
		{"what left is on record with each patient", releaseOnRecord},
		{"a release that cannot be made is not kept", releaseNotMade},
		{"a revoked key is gone", releaseRevoked},
		{"releases that are none", releaseInvalid},
		{"releases are part of a backup", releasesInBackup},
	}
}

// approver is the person who approves.
var approver = store.Actor{Account: "another", Role: "physicist"}

func wanted(recipient string) store.ReleaseWanted {
	return store.ReleaseWanted{Recipient: recipient, Purpose: "a study", From: "2026-01-01", Reports: true, Device: "make", Persons: "dropped", Characteristics: true}
}

func (s *site) askRelease(t *testing.T, recipient, key string) store.Release {
	t.Helper()
	r, err := s.db.AskRelease(ctx(), person, wanted(recipient), key)
	require.NoError(t, err)
	return r
}

// keep makes a release whose bytes name its key.
func keep(cases ...store.ReleasedCase) func(store.Release, string) (store.Making, error) {
	return func(r store.Release, key string) (store.Making, error) {
		return store.Making{Bytes: []byte("bytes of " + r.ID + " by " + key), Reports: len(cases), Cases: cases}, nil
	}
}

func releaseOfTwo(t *testing.T, s *site) {
	r := s.askRelease(t, "registry", "k1")
	assert.Equal(t, []any{store.ReleaseAsked, wanted("registry"), person.Account}, []any{r.State, r.Wanted, r.AskedBy})
	_, err := s.db.MakeRelease(ctx(), person, r.ID, keep())
	require.ErrorIs(t, err, store.ErrConflict, "nobody approved it")
	_, err = s.db.ApproveRelease(ctx(), person, r.ID, "mine")
	require.ErrorIs(t, err, store.ErrConflict, "who asked")
	_, err = s.db.ApproveRelease(ctx(), approver, r.ID, "")
	require.ErrorIs(t, err, store.ErrInvalid, "without a reason")
	r, err = s.db.ApproveRelease(ctx(), approver, r.ID, "agreed")
	require.NoError(t, err)
	assert.Equal(t, []any{store.ReleaseApproved, approver.Account, "agreed"}, []any{r.State, r.DecidedBy, r.DecidedReason})
	_, err = s.db.ApproveRelease(ctx(), approver, r.ID, "again")
	require.ErrorIs(t, err, store.ErrConflict)
	r, err = s.db.RefuseRelease(ctx(), person, r.ID, "not needed")
	require.NoError(t, err, "an approval that was not used is taken back")
	_, err = s.db.MakeRelease(ctx(), person, r.ID, keep())
	require.ErrorIs(t, err, store.ErrConflict)
	_, err = s.db.ApproveRelease(ctx(), approver, "none", "x")
	require.ErrorIs(t, err, store.ErrNotFound)
}

func releaseOnRecord(t *testing.T, s *site) {
	id, c := s.assessed(t, nil)
	r := s.askRelease(t, "registry", "k1")
	s.clock.forward(time.Second)
	_, err := s.db.ApproveRelease(ctx(), approver, r.ID, "agreed")
	require.NoError(t, err)
	left := store.ReleasedCase{CaseID: id, PatientID: c.PatientID, Version: 1}
	r, err = s.db.MakeRelease(ctx(), approver, r.ID, keep(left))
	require.NoError(t, err)
	assert.Equal(t, []any{store.ReleaseMade, approver.Account, 1, 1, 1}, []any{r.State, r.MadeBy, r.Reports, r.Procedures, r.Patients})
	last := s.last(t)
	assert.Equal(t, []string{"release.make", r.ID, r.Digest}, []string{last.Action, last.Object, last.After})
	s.reopen(t)
	raw, err := s.db.Raw(r.Digest)
	require.NoError(t, err)
	assert.Equal(t, "bytes of "+r.ID+" by k1", string(raw))
	cases, err := s.db.ReleasedCases(ctx(), r.ID)
	require.NoError(t, err)
	assert.Equal(t, []store.ReleasedCase{left}, cases)
	of, err := s.db.ReleasesOfPatient(ctx(), c.PatientID)
	require.NoError(t, err)
	assert.Equal(t, []store.Release{r}, of)
	_, err = s.db.MakeRelease(ctx(), approver, r.ID, keep(left))
	require.ErrorIs(t, err, store.ErrConflict, "once")
	next := s.askRelease(t, "registry", "k2")
	assert.Equal(t, r.RecipientID, next.RecipientID, "one recipient, one key")
	all, err := s.db.Releases(ctx())
	require.NoError(t, err)
	assert.Equal(t, []store.Release{next, r}, all, "newest first")
}

func releaseNotMade(t *testing.T, s *site) {
	r := s.askRelease(t, "registry", "k1")
	_, err := s.db.ApproveRelease(ctx(), approver, r.ID, "agreed")
	require.NoError(t, err)
	broken := errors.New("broken")
	_, err = s.db.MakeRelease(ctx(), person, r.ID, func(store.Release, string) (store.Making, error) { return store.Making{}, broken })
	require.ErrorIs(t, err, broken)
	got, err := s.db.ReleaseRecord(ctx(), r.ID)
	require.NoError(t, err)
	assert.Equal(t, []any{store.ReleaseApproved, "", true}, []any{got.State, got.Digest, got.MadeAt.IsZero()})
}

func releaseRevoked(t *testing.T, s *site) {
	r := s.askRelease(t, "registry", "k1")
	_, err := s.db.ApproveRelease(ctx(), approver, r.ID, "agreed")
	require.NoError(t, err)
	require.ErrorIs(t, s.db.RevokeRecipient(ctx(), person, r.RecipientID, ""), store.ErrInvalid)
	require.ErrorIs(t, s.db.RevokeRecipient(ctx(), person, "none", "x"), store.ErrNotFound)
	require.NoError(t, s.db.RevokeRecipient(ctx(), person, r.RecipientID, "the agreement ended"))
	require.ErrorIs(t, s.db.RevokeRecipient(ctx(), person, r.RecipientID, "again"), store.ErrConflict)
	_, err = s.db.MakeRelease(ctx(), person, r.ID, keep())
	require.ErrorIs(t, err, store.ErrConflict)
	got, err := s.db.ReleaseRecord(ctx(), r.ID)
	require.NoError(t, err)
	assert.True(t, got.Revoked)
	again := s.askRelease(t, "registry", "k2")
	assert.NotEqual(t, r.RecipientID, again.RecipientID, "another key")
	_, err = s.db.ApproveRelease(ctx(), approver, again.ID, "agreed")
	require.NoError(t, err)
	made, err := s.db.MakeRelease(ctx(), person, again.ID, keep())
	require.NoError(t, err)
	raw, err := s.db.Raw(made.Digest)
	require.NoError(t, err)
	assert.Contains(t, string(raw), "k2")
	all, err := s.db.Recipients(ctx())
	require.NoError(t, err)
	require.Len(t, all, 2)
	assert.Equal(t, []any{"registry", "the agreement ended", false}, []any{all[0].Name, all[0].RevokedReason, all[0].RevokedAt.IsZero()})
	assert.True(t, all[1].RevokedAt.IsZero())
}

func releaseInvalid(t *testing.T, s *site) {
	for name, change := range map[string]func(*store.ReleaseWanted){
		"no recipient": func(w *store.ReleaseWanted) { w.Recipient = " " },
		"no purpose":   func(w *store.ReleaseWanted) { w.Purpose = "" },
		"nothing":      func(w *store.ReleaseWanted) { w.Reports = false },
	} {
		t.Run(name, func(t *testing.T) {
			w := wanted("registry")
			change(&w)
			_, err := s.db.AskRelease(ctx(), person, w, "k")
			assert.ErrorIs(t, err, store.ErrInvalid)
		})
	}
	_, err := s.db.AskRelease(ctx(), person, wanted("registry"), "")
	assert.ErrorIs(t, err, store.ErrInvalid, "no key")
}

func releasesInBackup(t *testing.T, s *site) {
	r := s.askRelease(t, "registry", "k1")
	_, err := s.db.ApproveRelease(ctx(), approver, r.ID, "agreed")
	require.NoError(t, err)
	r, err = s.db.MakeRelease(ctx(), person, r.ID, keep())
	require.NoError(t, err)
	found, err := s.db.Verify(ctx(), nil)
	require.NoError(t, err)
	assert.True(t, found.Sound())
	assert.NotContains(t, found.Orphans, r.Digest, "a release names its object")
	backup, restored := filepath.Join(t.TempDir(), "backup"), filepath.Join(t.TempDir(), "restored")
	require.NoError(t, s.db.Backup(ctx(), backup))
	v, err := store.Restore(ctx(), backup, restored, "conformance")
	require.NoError(t, err)
	assert.True(t, v.Sound())
	assert.Equal(t, found.Objects, v.Objects)
}
