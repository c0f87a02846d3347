package aetitle_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/aetitle"
)

func TestCheck(t *testing.T) {
	for _, good := range []string{"A", "CATH 2", "AFTERBEAM", "SIXTEEN_LETTERS_", "a-b.c:d"} {
		require.NoError(t, aetitle.Check(good), good)
	}
	for _, bad := range []string{"", " CATH", "CATH ", "SEVENTEEN_LETTERS", "A\\B", "A\nB", "CATHÉ", "\x7f"} {
		assert.ErrorContains(t, aetitle.Check(bad), "wants 1 to 16 characters of ASCII without backslash", "%q", bad)
	}
}
