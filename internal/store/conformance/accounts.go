package conformance

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

func accountTests() []test {
	return []test{
		{"accounts with their rooms", accounts},
		{"tokens by their hash", tokens},
		{"times keep their microseconds", times},
		{"setup works one time", setup},
		{"setup is over once there is an account", setupOver},
		{"the console makes one more administrator", rescue},
	}
}

func accounts(t *testing.T, s *site) {
	whole, err := s.db.AddAccount(ctx(), person, "b. whole site", "physicist", nil)
	require.NoError(t, err)
	assert.Equal(t, "account.add", s.last(t).Action)
	some, err := s.db.AddAccount(ctx(), person, "c. two rooms", "operator", []string{"Hybrid 1", "Cath 2"})
	require.NoError(t, err)
	none, err := s.db.AddAccount(ctx(), person, "a. no room", "operator", []string{})
	require.NoError(t, err)
	all, err := s.db.Accounts(ctx())
	require.NoError(t, err)
	assert.Equal(t, []store.Account{none, whole, some}, all, "by name; no rooms and every room are told apart")
	_, err = s.db.AddAccount(ctx(), person, "c. two rooms", "admin", nil)
	require.ErrorIs(t, err, store.ErrConflict)
	require.NoError(t, s.db.DisableAccount(ctx(), person, some.ID, "left"))
	assert.Equal(t, "left", s.last(t).Reason)
	require.ErrorIs(t, s.db.DisableAccount(ctx(), person, some.ID, "left"), store.ErrNotFound)
	require.ErrorIs(t, s.db.DisableAccount(ctx(), person, "no such account", "left"), store.ErrNotFound)
}

func tokens(t *testing.T, s *site) {
	a, err := s.db.AddAccount(ctx(), person, "a physicist", "physicist", []string{"Hybrid 1"})
	require.NoError(t, err)
	expires := s.clock.Now().Add(24 * time.Hour)
	made, err := s.db.AddToken(ctx(), person, a.ID, "ab_123", "hash one", "a script", expires)
	require.NoError(t, err)
	got, err := s.db.TokenByHash(ctx(), "hash one")
	require.NoError(t, err)
	assert.Equal(t, made, got)
	assert.Equal(t, a, got.Account)
	assert.True(t, expires.Equal(got.ExpiresAt))
	_, err = s.db.AddToken(ctx(), person, a.ID, "ab_124", "hash one", "twin", expires)
	require.ErrorIs(t, err, store.ErrConflict)
	_, err = s.db.AddToken(ctx(), person, "no such account", "ab_125", "hash two", "x", expires)
	require.ErrorIs(t, err, store.ErrNotFound)
	_, err = s.db.TokenByHash(ctx(), "hash two")
	require.ErrorIs(t, err, store.ErrNotFound)
	require.NoError(t, s.db.TokenUsed(ctx(), made.ID))
	newer, err := s.db.AddToken(ctx(), person, a.ID, "ab_126", "hash three", "newer", expires)
	require.NoError(t, err)
	require.NoError(t, s.db.RevokeToken(ctx(), person, made.ID, "lost"))
	require.ErrorIs(t, s.db.RevokeToken(ctx(), person, made.ID, "lost"), store.ErrNotFound)
	all, err := s.db.Tokens(ctx())
	require.NoError(t, err)
	require.Len(t, all, 2)
	assert.Equal(t, newer.ID, all[0].ID, "newest first")
	assert.False(t, all[1].LastUsedAt.IsZero())
	assert.False(t, all[1].RevokedAt.IsZero())
	require.NoError(t, s.db.DisableAccount(ctx(), person, a.ID, "left"))
	got, err = s.db.TokenByHash(ctx(), "hash three")
	require.NoError(t, err)
	assert.False(t, got.Account.DisabledAt.IsZero(), "the token shows that its account has ended")
	_, err = s.db.AddToken(ctx(), person, a.ID, "ab_127", "hash four", "too late", expires)
	require.ErrorIs(t, err, store.ErrNotFound)
}

func times(t *testing.T, s *site) {
	a, err := s.db.AddAccount(ctx(), person, "a physicist", "physicist", nil)
	require.NoError(t, err)
	for i, want := range []time.Time{
		time.Date(2026, 9, 14, 9, 30, 0, 123456789, time.FixedZone("", 5*3600+1800)),
		time.Date(1999, 12, 31, 23, 59, 59, 999999999, time.UTC),
		time.Date(1890, 1, 1, 0, 0, 0, 1000, time.UTC),
		time.Date(9999, 12, 31, 23, 59, 59, 999999000, time.UTC),
		time.Date(2026, 9, 14, 9, 30, 0, 0, time.UTC),
		{},
	} {
		hash := fmt.Sprint("hash ", i)
		_, err := s.db.AddToken(ctx(), person, a.ID, "ab_1", hash, "x", want)
		require.NoError(t, err)
		got, err := s.db.TokenByHash(ctx(), hash)
		require.NoError(t, err)
		assert.True(t, want.Truncate(time.Microsecond).Equal(got.ExpiresAt), "wanted %v, got %v", want, got.ExpiresAt)
	}
	// Late in the year 9999 west of Greenwich is a year that no column holds.
	_, err = s.db.AddToken(ctx(), person, a.ID, "ab_1", "late", "x", time.Date(9999, 12, 31, 23, 0, 0, 0, time.FixedZone("", -2*3600)))
	require.ErrorIs(t, err, store.ErrInvalid)
}

func setup(t *testing.T, s *site) {
	offered, err := s.db.OfferSetup(ctx(), "first offer")
	require.NoError(t, err)
	assert.True(t, offered)
	offered, err = s.db.OfferSetup(ctx(), "second offer")
	require.NoError(t, err)
	assert.True(t, offered)
	expires := s.clock.Now().Add(time.Hour)
	use := func(hash string) (store.Account, error) {
		return s.db.UseSetup(ctx(), hash, store.Account{Name: "first", Role: "admin"}, "ab_1", "token of the first", expires)
	}
	for _, wrong := range []string{"first offer", "", "guess"} {
		_, err = use(wrong)
		require.ErrorIs(t, err, store.ErrNotFound, "only the newest offer holds")
	}
	a, err := use("second offer")
	require.NoError(t, err)
	assert.Equal(t, "setup.use", s.last(t).Action)
	token, err := s.db.TokenByHash(ctx(), "token of the first")
	require.NoError(t, err)
	assert.Equal(t, a, token.Account)
	_, err = use("second offer")
	require.ErrorIs(t, err, store.ErrNotFound, "spent")
	offered, err = s.db.OfferSetup(ctx(), "third offer")
	require.NoError(t, err)
	assert.False(t, offered)
}

func rescue(t *testing.T, s *site) {
	_, err := s.db.AddAccount(ctx(), person, "whose tokens are all over", "admin", nil)
	require.NoError(t, err)
	use := func(hash, name string) error {
		_, err := s.db.UseSetup(ctx(), hash, store.Account{Name: name, Role: "admin"}, "ab_1", "token of "+name, s.clock.Now().Add(time.Hour))
		return err
	}
	until := s.clock.Now().Add(time.Hour)
	require.NoError(t, s.db.OfferRescue(ctx(), person, "earlier", until))
	require.NoError(t, s.db.OfferRescue(ctx(), person, "late", until))
	assert.Equal(t, "rescue.offer", s.last(t).Action)
	require.ErrorIs(t, use("earlier", "one more"), store.ErrNotFound, "replaced")
	s.clock.forward(time.Hour)
	require.ErrorIs(t, use("late", "one more"), store.ErrNotFound, "over")
	require.NoError(t, s.db.OfferRescue(ctx(), person, "in time", s.clock.Now().Add(time.Hour)))
	require.ErrorIs(t, use("in time", "whose tokens are all over"), store.ErrConflict, "the name is taken, and nothing is spent")
	require.NoError(t, use("in time", "one more"))
	assert.Equal(t, "rescue.use", s.last(t).Action)
	require.ErrorIs(t, use("in time", "another"), store.ErrNotFound, "spent")
}

func setupOver(t *testing.T, s *site) {
	offered, err := s.db.OfferSetup(ctx(), "an offer")
	require.NoError(t, err)
	require.True(t, offered)
	_, err = s.db.AddAccount(ctx(), person, "made on the command line", "admin", nil)
	require.NoError(t, err)
	_, err = s.db.UseSetup(ctx(), "an offer", store.Account{Name: "second", Role: "admin"}, "ab_1", "hash", s.clock.Now())
	require.ErrorIs(t, err, store.ErrNotFound)
}
