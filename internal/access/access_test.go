package access_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/store"
)

type tokens map[string]store.Token

func (t tokens) TokenByHash(_ context.Context, hash string) (store.Token, error) {
	token, ok := t[hash]
	if !ok {
		return token, store.ErrNotFound
	}
	return token, nil
}

func TestCheck(t *testing.T) {
	now := time.Date(2026, 9, 14, 8, 0, 0, 0, time.UTC)
	secret := access.NewSecret()
	good := store.Token{ID: "t", Account: store.Account{ID: "a", Role: "operator", Rooms: []string{"Hybrid 1"}}, ExpiresAt: now.Add(time.Hour)}
	tests := map[string]struct {
		text   string
		change func(*store.Token)
		want   error
	}{
		"valid":        {secret.Text, func(*store.Token) {}, nil},
		"unknown":      {"ab_other", func(*store.Token) {}, access.ErrUnknown},
		"empty":        {"", func(*store.Token) {}, access.ErrUnknown},
		"expired":      {secret.Text, func(k *store.Token) { k.ExpiresAt = now }, access.ErrUnknown},
		"revoked":      {secret.Text, func(k *store.Token) { k.RevokedAt = now.Add(-time.Hour) }, access.ErrUnknown},
		"disabled":     {secret.Text, func(k *store.Token) { k.Account.DisabledAt = now.Add(-time.Hour) }, access.ErrUnknown},
		"unknown role": {secret.Text, func(k *store.Token) { k.Account.Role = "owner" }, access.ErrUnknown},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			token := good
			tt.change(&token)
			grant, err := access.Check(context.Background(), tokens{secret.Hash: token}, tt.text, now)
			require.ErrorIs(t, err, tt.want)
			if tt.want == nil {
				assert.Equal(t, access.Operator, grant.Role)
			}
		})
	}
}

func TestSecretsAreTheirOwn(t *testing.T) {
	a, b := access.NewSecret(), access.NewSecret()
	assert.NotEqual(t, a.Text, b.Text)
	assert.NotContains(t, a.Hash, a.Text)
	assert.True(t, strings.HasPrefix(a.Text, a.Prefix))
	assert.Len(t, a.Text, 35, "3 characters of prefix and 32 of 5 bits each")
}

func TestScope(t *testing.T) {
	hybrid, cath := store.Case{Room: "Hybrid 1"}, store.Case{Room: "Cath 2"}
	all := access.Grant{}
	one := access.Grant{Account: store.Account{Rooms: []string{"Hybrid 1"}}}
	none := access.Grant{Account: store.Account{Rooms: []string{}}}
	require.NoError(t, all.Sees(cath))
	require.NoError(t, one.Sees(hybrid))
	require.ErrorIs(t, one.Sees(cath), store.ErrNotFound)
	require.ErrorIs(t, none.Sees(hybrid), store.ErrNotFound, "no room is not every room")
	seen, err := one.SeesAny([]store.Case{hybrid, cath})
	require.NoError(t, err)
	assert.Equal(t, []store.Case{hybrid}, seen)
	_, err = one.SeesAny([]store.Case{cath})
	require.ErrorIs(t, err, store.ErrNotFound)
	assert.Equal(t, []string{"Hybrid 1"}, one.Narrow(store.Filter{Rooms: []string{"Cath 2"}}).Rooms)
}

func TestOwnCases(t *testing.T) {
	own := access.Grant{Account: store.Account{ID: "me", OwnCases: true, Rooms: []string{"Hybrid 1"}}}
	mine := store.Case{Room: "Hybrid 1", Operators: []string{"another", "me"}}
	require.NoError(t, own.Sees(mine))
	require.ErrorIs(t, own.Sees(store.Case{Room: "Hybrid 1", Operators: []string{"another"}}), access.ErrOutside)
	require.ErrorIs(t, own.Sees(store.Case{Room: "Cath 2", Operators: []string{"me"}}), access.ErrOutside, "rooms narrow further")
	assert.Equal(t, "me", own.Narrow(store.Filter{}).Account)
	everywhere := access.Grant{Account: store.Account{ID: "me", OwnCases: true}}
	assert.False(t, everywhere.SeesAll())
	_, err := everywhere.SeesAny(nil)
	require.ErrorIs(t, err, access.ErrOutside)
	require.NoError(t, access.CheckScope(access.Operator, nil, true))
	require.NoError(t, access.CheckScope(access.Operator, []string{"Hybrid 1"}, false))
	require.ErrorIs(t, access.CheckScope(access.Operator, nil, false), store.ErrInvalid)
	require.ErrorIs(t, access.CheckScope(access.Operator, []string{}, true), store.ErrInvalid)
	require.ErrorIs(t, access.CheckScope(access.Quality, nil, true), store.ErrInvalid)
}

func TestAdminSeesNoPatientData(t *testing.T) {
	admin := access.Grant{Role: access.Admin}
	for op := range access.Permissions() {
		name := strings.ToLower(string(op))
		for _, word := range []string{"procedure", "patient", "dose", "event", "map", "estimate", "flag", "report", "receipt", "fact"} {
			if strings.Contains(name, word) {
				assert.ErrorIs(t, admin.May(op), access.ErrForbidden, op)
			}
		}
	}
	require.ErrorIs(t, admin.May("noSuchOperation"), access.ErrForbidden)
}
