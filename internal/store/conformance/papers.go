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

func paperTests() []test {
	return []test{
		{"a paper keeps its bytes", paperKept},
		{"a paper that cannot be written is not kept", paperNotWritten},
		{"a paper wants a case", paperOfNothing},
		{"papers are part of a backup", papersInBackup},
	}
}

// paper makes a paper whose bytes name it.
func (s *site) paper(t *testing.T, caseID string) store.Paper {
	t.Helper()
	p, err := s.db.MakePaper(ctx(), person, store.Paper{CaseID: caseID, Version: 1, Kind: "patient-sheet", Language: "de", Size: "a4"}, func(made store.Paper) (pdf, html []byte, err error) {
		require.NotEmpty(t, made.ID)
		require.False(t, made.MadeAt.IsZero())
		return []byte("pdf of " + made.ID), []byte("html of " + made.ID), nil
	})
	require.NoError(t, err)
	return p
}

func paperKept(t *testing.T, s *site) {
	id, c := s.assessed(t, nil)
	first := s.paper(t, id)
	last := s.last(t)
	assert.Equal(t, []string{"paper.make", first.ID, c.PatientID, first.PDF}, []string{last.Action, last.Object, last.Patient, last.After})
	assert.Equal(t, person.Account, first.MadeBy)
	s.clock.forward(time.Second)
	second := s.paper(t, id)
	s.reopen(t)
	list, err := s.db.Papers(ctx(), id)
	require.NoError(t, err)
	assert.Equal(t, []store.Paper{second, first}, list, "newest first")
	got, err := s.db.Paper(ctx(), id, first.ID)
	require.NoError(t, err)
	assert.Equal(t, first, got)
	pdf, err := s.db.Raw(got.PDF)
	require.NoError(t, err)
	assert.Equal(t, "pdf of "+first.ID, string(pdf))
	html, err := s.db.Raw(got.HTML)
	require.NoError(t, err)
	assert.Equal(t, "html of "+first.ID, string(html))
	other, _ := s.assessed(t, nil)
	_, err = s.db.Paper(ctx(), other, first.ID)
	require.ErrorIs(t, err, store.ErrNotFound, "of another case")
	list, err = s.db.Papers(ctx(), other)
	require.NoError(t, err)
	assert.Empty(t, list)
}

func paperNotWritten(t *testing.T, s *site) {
	id, _ := s.assessed(t, nil)
	broken := errors.New("no such letter")
	_, err := s.db.MakePaper(ctx(), person, store.Paper{CaseID: id}, func(store.Paper) (pdf, html []byte, err error) { return nil, nil, broken })
	require.ErrorIs(t, err, broken)
	list, err := s.db.Papers(ctx(), id)
	require.NoError(t, err)
	assert.Empty(t, list)
}

func paperOfNothing(t *testing.T, s *site) {
	_, err := s.db.MakePaper(ctx(), person, store.Paper{CaseID: "none"}, func(store.Paper) (pdf, html []byte, err error) { return []byte("a"), []byte("b"), nil })
	require.ErrorIs(t, err, store.ErrNotFound)
}

func papersInBackup(t *testing.T, s *site) {
	id, _ := s.assessed(t, nil)
	p := s.paper(t, id)
	found, err := s.db.Verify(ctx(), nil)
	require.NoError(t, err)
	assert.True(t, found.Sound())
	assert.NotContains(t, found.Orphans, p.PDF, "a paper names its objects")
	assert.NotContains(t, found.Orphans, p.HTML)
	backup, restored := filepath.Join(t.TempDir(), "backup"), filepath.Join(t.TempDir(), "restored")
	require.NoError(t, s.db.Backup(ctx(), backup))
	v, err := store.Restore(ctx(), backup, restored, "conformance")
	require.NoError(t, err)
	assert.True(t, v.Sound())
	assert.Equal(t, found.Objects, v.Objects)
}
