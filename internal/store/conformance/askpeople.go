package conformance

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

func asksNamed(t *testing.T, s *site) {
	id, v := s.reached(t)
	assert.Empty(t, s.asksOf(t, id)["early"].Person)
	a, err := s.db.AddAccount(ctx(), person, "surgeon", "operator", []string{"Hybrid 1"})
	require.NoError(t, err)
	require.NoError(t, s.db.SetFallback(ctx(), person, "Hybrid 1", a.ID, "head of the room"))
	v.Digest = "second"
	s.again(t, v)
	asks := s.asksOf(t, id)
	assert.Equal(t, a.ID, asks["early"].Person)
	assert.Empty(t, asks["review"].Person, "asked of every physicist")
	c, err := s.db.Case(ctx(), id)
	require.NoError(t, err)
	assert.Equal(t, []string{a.ID}, c.Asked)
}

func asksHandedOver(t *testing.T, s *site) {
	id, _ := s.reached(t)
	early := s.asksOf(t, id)["early"]
	elsewhere, err := s.db.AddAccount(ctx(), person, "elsewhere", "operator", []string{"Cath 2"})
	require.NoError(t, err)
	auditor, err := s.db.AddAccount(ctx(), person, "auditor", "auditor", nil)
	require.NoError(t, err)
	here, err := s.db.AddAccount(ctx(), person, "here", "operator", []string{"Hybrid 1"})
	require.NoError(t, err)
	for _, account := range []string{elsewhere.ID, auditor.ID, "nobody"} {
		_, err := s.db.HandOverAsk(ctx(), person, early.ID, account, "on leave")
		require.ErrorIs(t, err, store.ErrInvalid)
	}
	a, err := s.db.HandOverAsk(ctx(), person, early.ID, here.ID, "on leave")
	require.NoError(t, err)
	assert.Equal(t, here.ID, a.Person)
	assert.Equal(t, "ask.handover", s.last(t).Action)
	mine, err := s.db.Asks(ctx(), store.AskFilter{Account: here.ID})
	require.NoError(t, err)
	assert.Len(t, mine, 5, "the asks of a case of which one is asked of the account")
}

func asksEscalate(t *testing.T, s *site) {
	id, _ := s.reached(t)
	told, err := s.db.EscalateAsks(ctx())
	require.NoError(t, err)
	assert.Empty(t, told)
	s.clock.forward(3 * 24 * time.Hour)
	told, err = s.db.EscalateAsks(ctx())
	require.NoError(t, err)
	assert.Len(t, told, 3, "record and inform are 3 days over, the review 1")
	told, err = s.db.EscalateAsks(ctx())
	require.NoError(t, err)
	assert.Empty(t, told, "once")
	assert.Equal(t, 2, s.asksOf(t, id)["inform"].Rung)
	s.clock.forward(4 * 24 * time.Hour)
	told, err = s.db.EscalateAsks(ctx())
	require.NoError(t, err)
	assert.Len(t, told, 3)
	history, err := s.db.AskHistory(ctx(), s.asksOf(t, id)["inform"].ID)
	require.NoError(t, err)
	assert.Contains(t, history[len(history)-1].Reason, "told to quality")
}
