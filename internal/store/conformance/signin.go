package conformance

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

func signInTests() []test {
	return []test{
		{"sessions of accounts", sessions},
		{"passwords by one-time links", passwords},
		{"identities of an issuer", outsiders},
	}
}

func sessions(t *testing.T, s *site) {
	a, err := s.db.AddAccount(ctx(), person, "a physicist", "physicist", []string{"Hybrid 1"})
	require.NoError(t, err)
	ends := s.clock.Now().Add(12 * time.Hour)
	begin := func(hash string) store.Session {
		one, err := s.db.BeginSession(ctx(), person, store.Session{Account: store.Account{ID: a.ID}, Way: "password", Source: "10.0.0.1", Agent: "b", EndsAt: ends}, hash)
		require.NoError(t, err)
		assert.Equal(t, "session.begin", s.last(t).Action)
		return one
	}
	one := begin("one")
	got, err := s.db.SessionByHash(ctx(), "one")
	require.NoError(t, err)
	assert.Equal(t, one, got)
	assert.Equal(t, a, got.Account)
	_, err = s.db.SessionByHash(ctx(), "two")
	require.ErrorIs(t, err, store.ErrNotFound)
	s.clock.forward(time.Minute)
	two := begin("two")
	require.NoError(t, s.db.SessionSeen(ctx(), one.ID))
	require.NoError(t, s.db.ConfirmSession(ctx(), person, one.ID))
	got, err = s.db.SessionByHash(ctx(), "one")
	require.NoError(t, err)
	assert.WithinDuration(t, two.BegunAt, got.ConfirmedAt, time.Second) // the clock moves with each look at it
	assert.WithinDuration(t, two.BegunAt, got.SeenAt, time.Second)
	all, err := s.db.SessionsOf(ctx(), a.ID)
	require.NoError(t, err)
	assert.Equal(t, []store.Session{two, got}, all, "the newest first")
	require.ErrorIs(t, s.db.EndSession(ctx(), person, "another account", one.ID, "x"), store.ErrNotFound)
	require.NoError(t, s.db.EndSession(ctx(), person, a.ID, one.ID, "signed out"))
	assert.Equal(t, "signed out", s.last(t).Reason)
	require.ErrorIs(t, s.db.EndSession(ctx(), person, a.ID, one.ID, "x"), store.ErrNotFound)
	require.ErrorIs(t, s.db.ConfirmSession(ctx(), person, one.ID), store.ErrNotFound)
	require.NoError(t, s.db.EndSessions(ctx(), person, a.ID, "everywhere"))
	assert.Equal(t, two.ID, s.last(t).Object)
	all, err = s.db.SessionsOf(ctx(), a.ID)
	require.NoError(t, err)
	assert.Empty(t, all)
	require.NoError(t, s.db.DisableAccount(ctx(), person, a.ID, "left"))
	_, err = s.db.BeginSession(ctx(), person, store.Session{Account: a, EndsAt: ends}, "four")
	require.ErrorIs(t, err, store.ErrNotFound)
}

func passwords(t *testing.T, s *site) {
	a, err := s.db.AddAccount(ctx(), person, "an operator", "operator", []string{})
	require.NoError(t, err)
	_, _, err = s.db.PasswordOf(ctx(), "an operator")
	require.ErrorIs(t, err, store.ErrNotFound)
	until := s.clock.Now().Add(time.Hour)
	require.ErrorIs(t, s.db.OfferPassword(ctx(), person, "no such account", "x", until), store.ErrNotFound)
	require.NoError(t, s.db.OfferPassword(ctx(), person, a.ID, "first", until))
	require.NoError(t, s.db.OfferPassword(ctx(), person, a.ID, "second", until))
	assert.Equal(t, "password.offer", s.last(t).Action)
	_, err = s.db.OfferedTo(ctx(), "first")
	require.ErrorIs(t, err, store.ErrNotFound, "replaced")
	got, err := s.db.OfferedTo(ctx(), "second")
	require.NoError(t, err)
	assert.Equal(t, a, got)
	_, err = s.db.BeginSession(ctx(), person, store.Session{Account: a, EndsAt: until}, "hash")
	require.NoError(t, err)
	_, err = s.db.SetPassword(ctx(), "10.0.0.1", "second", "kept")
	require.NoError(t, err)
	open, err := s.db.SessionsOf(ctx(), a.ID)
	require.NoError(t, err)
	assert.Empty(t, open, "a new password ends every session")
	_, err = s.db.SetPassword(ctx(), "10.0.0.1", "second", "again")
	require.ErrorIs(t, err, store.ErrNotFound, "spent")
	got, kept, err := s.db.PasswordOf(ctx(), "an operator")
	require.NoError(t, err)
	assert.Equal(t, a, got)
	assert.Equal(t, "kept", kept)
	require.NoError(t, s.db.ChangePassword(ctx(), person, a.ID, "changed"))
	assert.Equal(t, "password.set", s.last(t).Action)
	require.NoError(t, s.db.OfferPassword(ctx(), person, a.ID, "third", until))
	s.clock.forward(time.Hour)
	_, err = s.db.SetPassword(ctx(), "10.0.0.1", "third", "late")
	require.ErrorIs(t, err, store.ErrNotFound, "late")
	require.NoError(t, s.db.DisableAccount(ctx(), person, a.ID, "left"))
	_, _, err = s.db.PasswordOf(ctx(), "an operator")
	require.ErrorIs(t, err, store.ErrNotFound)
}

func outsiders(t *testing.T, s *site) {
	a, err := s.db.AddAccount(ctx(), person, "petra", "physicist", nil)
	require.NoError(t, err)
	b, err := s.db.AddAccount(ctx(), person, "paul", "physicist", nil)
	require.NoError(t, err)
	ask := func(issuer, subject, name string) (store.Account, error) {
		return s.db.AccountOfOutside(ctx(), "10.0.0.1", store.Outside{Issuer: issuer, Subject: subject, Name: name})
	}
	got, err := ask("one", "1", "petra")
	require.NoError(t, err)
	assert.Equal(t, a, got)
	assert.Equal(t, "account.bind", s.last(t).Action)
	got, err = ask("one", "1", "paul")
	require.NoError(t, err)
	assert.Equal(t, a, got, "the subject counts, not the name")
	_, err = ask("one", "2", "petra")
	require.ErrorIs(t, err, store.ErrConflict)
	_, err = ask("one", "3", "nobody")
	require.ErrorIs(t, err, store.ErrNotFound)
	got, err = ask("two", "1", "paul")
	require.NoError(t, err)
	assert.Equal(t, b, got, "another issuer's subject is another person")
	require.NoError(t, s.db.DisableAccount(ctx(), person, a.ID, "left"))
	_, err = ask("one", "1", "petra")
	require.ErrorIs(t, err, store.ErrNotFound)
}
