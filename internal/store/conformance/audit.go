package conformance

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/audit"
	"afterbeam/internal/store"
)

func auditTests() []test {
	return []test{
		{"a failing change leaves no record", failingChange},
		{"a view is on the record before it is answered", views},
		{"many views at once", manyViews},
		{"no view is answered by a closed store", viewAfterClose},
		{"the chain verifies and is anchored", chainAndAnchor},
		{"a clock that goes back does not break the chain", clockBack},
		{"the record is narrowed, and read from its end", auditNarrowed},
	}
}

func failingChange(t *testing.T, s *site) {
	s.keep(t, "a report", "")
	_, err := s.db.AddAccount(ctx(), person, "taken", "admin", nil)
	require.NoError(t, err)
	before := s.records(t)
	_, err = s.db.AddAccount(ctx(), person, "taken", "admin", nil)
	require.ErrorIs(t, err, store.ErrConflict)
	require.ErrorIs(t, s.db.RevokeToken(ctx(), person, "none", "x"), store.ErrNotFound)
	require.ErrorIs(t, s.db.Reread(ctx(), person, "none", "x"), store.ErrNotFound)
	done, cancel := context.WithCancel(ctx())
	cancel()
	require.ErrorIs(t, s.db.Note(done, person, audit.Record{Action: "late"}), context.Canceled)
	assert.Equal(t, before, s.records(t))
}

func views(t *testing.T, s *site) {
	require.NoError(t, s.db.Viewed(ctx(), person, "patient.view", "case", "patient"))
	s.reopen(t)
	got := s.last(t)
	assert.Equal(t, []string{"patient.view", "case", "patient", "done"}, []string{got.Action, got.Object, got.Patient, got.Outcome})
	assert.Equal(t, []string{person.Account, person.Role, person.Session, person.Source}, []string{got.Actor, got.Role, got.Session, got.Source})
	assert.Equal(t, "conformance", got.Version)
	done, cancel := context.WithCancel(ctx())
	cancel()
	require.ErrorIs(t, s.db.Viewed(done, person, "patient.view", "case", "patient"), context.Canceled)
}

// manyViews makes more views than one page of the chain holds, all at once.
func manyViews(t *testing.T, s *site) {
	const people, each = 60, 20
	var wait sync.WaitGroup
	failed := make(chan error, people*each)
	for i := range people {
		wait.Go(func() {
			for k := range each {
				if err := s.db.Viewed(ctx(), person, "patient.view", fmt.Sprintf("%d/%d", i, k), "patient"); err != nil {
					failed <- err
				}
			}
		})
	}
	wait.Wait()
	close(failed)
	require.NoError(t, <-failed)
	seen := map[string]int{}
	for _, r := range s.records(t) {
		seen[r.Object]++
	}
	assert.Len(t, seen, people*each, "each once")
	head, err := audit.Verify(s.db.AuditRecords(ctx()), nil)
	require.NoError(t, err)
	assert.Equal(t, uint64(people*each), head.Sequence)
}

func viewAfterClose(t *testing.T, s *site) {
	require.NoError(t, s.db.Close())
	err := s.db.Viewed(ctx(), person, "patient.view", "case", "patient")
	require.ErrorIs(t, err, store.ErrUnavailable)
	require.NoError(t, s.db.Close(), "closing again is harmless")
}

func chainAndAnchor(t *testing.T, s *site) {
	head, err := s.db.AuditHead(ctx())
	require.NoError(t, err)
	assert.Equal(t, audit.Head{Hash: audit.Genesis}, head)
	anchor, err := s.db.ReadAnchor("")
	require.NoError(t, err)
	assert.Nil(t, anchor, "none yet")
	for i := range 5 {
		require.NoError(t, s.db.Note(ctx(), person, audit.Record{Action: "sign.in", Object: fmt.Sprint(i), Outcome: "refused"}))
	}
	written, err := s.db.Anchor(ctx())
	require.NoError(t, err)
	assert.Equal(t, uint64(5), written.Sequence)
	require.NoError(t, s.db.Note(ctx(), person, audit.Record{Action: "sign.in"}))
	anchor, err = s.db.ReadAnchor("")
	require.NoError(t, err)
	assert.Equal(t, &written, anchor)
	v, err := s.db.Verify(ctx(), anchor)
	require.NoError(t, err)
	assert.True(t, v.Sound())
	assert.Equal(t, 6, v.AuditRecords)
	page, err := s.db.AuditAfter(ctx(), 2, 3)
	require.NoError(t, err)
	require.Len(t, page, 3)
	assert.Equal(t, []uint64{3, 4, 5}, []uint64{page[0].Sequence, page[1].Sequence, page[2].Sequence})
	assert.Equal(t, "refused", page[0].Outcome)
	page, err = s.db.AuditAfter(ctx(), 6, 3)
	require.NoError(t, err)
	assert.Empty(t, page)
	forged := written
	forged.Hash = audit.Genesis
	v, err = s.db.Verify(ctx(), &forged)
	require.NoError(t, err)
	require.ErrorIs(t, v.Chain, audit.ErrBroken)
	assert.False(t, v.Sound())
}

func clockBack(t *testing.T, s *site) {
	require.NoError(t, s.db.Note(ctx(), person, audit.Record{Action: "one"}))
	s.clock.forward(-24 * time.Hour)
	require.NoError(t, s.db.Note(ctx(), person, audit.Record{Action: "two"}))
	_, err := audit.Verify(s.db.AuditRecords(ctx()), nil)
	require.NoError(t, err)
	all := s.records(t)
	assert.Equal(t, all[0].Time, all[1].Time)
}

func auditNarrowed(t *testing.T, s *site) {
	begun := s.clock.Now()
	for i, action := range []string{"facts.add", "facts%list", "sign.in", "facts.add"} {
		actor, outcome := person, "done"
		if i == 2 {
			actor, outcome = colleague, "refused"
		}
		require.NoError(t, s.db.Note(ctx(), actor, audit.Record{Action: action, Object: fmt.Sprint("case ", i), Patient: "p" + fmt.Sprint(i), Outcome: outcome}))
		s.clock.forward(time.Hour)
	}
	tests := map[string]struct {
		filter store.AuditFilter
		want   []uint64
	}{
		"all":                     {store.AuditFilter{}, []uint64{1, 2, 3, 4}},
		"after one":               {store.AuditFilter{After: 2}, []uint64{3, 4}},
		"the newest":              {store.AuditFilter{Newest: true}, []uint64{4, 3, 2, 1}},
		"further back":            {store.AuditFilter{Newest: true, After: 3}, []uint64{2, 1}},
		"two of them":             {store.AuditFilter{Newest: true, Limit: 2}, []uint64{4, 3}},
		"the beginning of a word": {store.AuditFilter{Action: "facts"}, []uint64{1, 2, 4}},
		"a sign is a sign":        {store.AuditFilter{Action: "facts%"}, []uint64{2}},
		"object":                  {store.AuditFilter{Object: "case 1"}, []uint64{2}},
		"patient":                 {store.AuditFilter{Patient: "p3"}, []uint64{4}},
		"outcome":                 {store.AuditFilter{Outcome: "refused"}, []uint64{3}},
		"one of two":              {store.AuditFilter{Actors: []string{"nobody", colleague.Account}}, []uint64{3}},
		"from":                    {store.AuditFilter{From: begun.Add(90 * time.Minute)}, []uint64{3, 4}},
		"before":                  {store.AuditFilter{Before: begun.Add(90 * time.Minute)}, []uint64{1, 2}},
		"several at once":         {store.AuditFilter{Action: "facts", Newest: true, Actors: []string{person.Account}, Before: begun.Add(90 * time.Minute)}, []uint64{2, 1}},
	}
	for name, tt := range tests {
		if tt.filter.Limit == 0 {
			tt.filter.Limit = 100
		}
		records, err := s.db.Audit(ctx(), tt.filter)
		require.NoError(t, err, name)
		var got []uint64
		for _, r := range records {
			got = append(got, r.Sequence)
		}
		assert.Equal(t, tt.want, got, name)
	}
}
