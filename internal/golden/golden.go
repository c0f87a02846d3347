// Package golden compares what a test got with a file kept in testdata.
//
// Run a package's tests with -update to rewrite its files after an intended change, then read the difference in
// version control before committing it.
package golden

import (
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "rewrite the golden files with what the tests got")

// Check compares got with the file at path, byte for byte, and fails the test with the difference. With -update it
// writes the file (and its directories) instead.
func Check(t testing.TB, path string, got []byte) {
	t.Helper()
	if *update {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, got, 0o644))
		return
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "no golden file yet: run the test with -update")
	assert.Equal(t, string(want), string(got), "differs from %s; run with -update if the change is intended", path)
}
