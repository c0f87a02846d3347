package golden_test

import (
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/golden"
)

// verdict keeps a failing Check from failing the test that watches it.
type verdict struct {
	testing.TB
	failed bool
}

func (v *verdict) Helper()               {}
func (v *verdict) Errorf(string, ...any) { v.failed = true }
func (v *verdict) FailNow()              { v.failed = true; panic("stop") }

func failed(t *testing.T, path, got string) bool {
	v := &verdict{TB: t}
	func() {
		defer func() { _ = recover() }()
		golden.Check(v, path, []byte(got))
	}()
	return v.failed
}

func TestCheck(t *testing.T) {
	path := filepath.Join(t.TempDir(), "deep", "kept.txt")
	assert.True(t, failed(t, path, "one\n"), "a missing file is a failure")

	require.NoError(t, flag.Set("update", "true"))
	assert.False(t, failed(t, path, "one\n"))
	require.NoError(t, flag.Set("update", "false"))
	kept, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "one\n", string(kept))

	assert.False(t, failed(t, path, "one\n"))
	assert.True(t, failed(t, path, "two\n"))
}
