package password_test

import (
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access/password"
)

func cheap() password.Cost { return password.Cost{Passes: 1, MemoryKiB: 8, Lanes: 1} }

func TestCheck(t *testing.T) {
	for text, want := range map[string]password.Fault{
		"twelve chars":               "",
		"eleven char":                password.TooShort,
		"zwölf Zeichn":               "",
		strings.Repeat("ab", 128):    "",
		strings.Repeat("ab", 129):    password.TooLong,
		"Petra.Meyer1":               password.HoldsAccount,
		"PETRA.MEYER and more words": "",
		"petra.meyerpetra.meyer":     password.HoldsAccount,
		"aaaaaaaaaaaaaa":             password.OneCharacter,
		"correct horse battery":      "",
	} {
		err := password.Check(text, "petra.meyer")
		if want == "" {
			assert.NoError(t, err, text)
			continue
		}
		assert.ErrorIs(t, err, want, text)
	}
	assert.NoError(t, password.Check("twelve chars", "e"), "a name of one letter is in everything")
}

func TestHashes(t *testing.T) {
	ctx := context.Background()
	h := password.NewHasher(cheap(), 2)
	one, err := h.Hash(ctx, "correct horse lamp")
	require.NoError(t, err)
	two, err := h.Hash(ctx, "correct horse lamp")
	require.NoError(t, err)
	assert.NotEqual(t, one, two, "each has its own salt")
	assert.True(t, strings.HasPrefix(one, "$argon2id$v=19$m=8,t=1,p=1$"), one)
	for name, tt := range map[string]struct {
		kept, text string
		want       bool
	}{
		"right":                             {one, "correct horse lamp", true},
		"wrong":                             {one, "correct horse lamq", false},
		"empty":                             {one, "", false},
		"no password kept":                  {"", "correct horse lamp", false},
		"the same letters, composed or not": {mustHash(t, h, "zwo\u0308lf Lampen!"), "zw\u00f6lf Lampen!", true},
		"kept at another cost":              {mustHash(t, password.NewHasher(password.Cost{Passes: 2, MemoryKiB: 16, Lanes: 2}, 1), "correct"), "correct", true},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := h.Matches(ctx, tt.kept, tt.text)
			require.NoError(t, err)
			assert.Equal(t, tt.want, got)
		})
	}
	for _, kept := range []string{"x", "$argon2i$v=19$m=8,t=1,p=1$AA$AA", one[:len(one)-4], strings.Replace(one, "t=1", "t=0", 1)} {
		_, err := h.Matches(ctx, kept, "x")
		require.ErrorIs(t, err, password.ErrHash, kept)
	}
	ended, cancel := context.WithCancel(ctx)
	cancel()
	_, err = password.NewHasher(cheap(), 0).Hash(ended, "x")
	require.ErrorIs(t, err, context.Canceled)
}

func mustHash(t *testing.T, h *password.Hasher, text string) string {
	t.Helper()
	kept, err := h.Hash(context.Background(), text)
	require.NoError(t, err)
	return kept
}

// TestDefaultCost keeps the cost from falling: RFC 9106, 2021, section 4, second recommended option.
func TestDefaultCost(t *testing.T) {
	assert.Equal(t, password.Cost{Passes: 3, MemoryKiB: 65536, Lanes: 4}, password.DefaultCost())
}
