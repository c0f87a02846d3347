// Package followup_test keeps the table of hazards and the tests together.
package followup_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// named is a test in the table: package, a colon, test and subtests.
var named = regexp.MustCompile("`(internal/[a-z/]+):(Test[^`]+)`")

// TestHazardsNameTests wants every hazard to name tests, and every test that is named to be in its package. That they ran and
// passed is the business of scripts/hazards.sh.
func TestHazardsNameTests(t *testing.T) {
	text, err := os.ReadFile("HAZARDS.md")
	require.NoError(t, err)
	hazards := 0
	for line := range strings.Lines(string(text)) {
		if !strings.HasPrefix(line, "| H") {
			continue
		}
		hazards++
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), "|")
		require.Len(t, cells, 5, line)
		for _, cell := range cells {
			assert.NotEmpty(t, strings.TrimSpace(cell), line)
		}
		tests := named.FindAllStringSubmatch(cells[4], -1)
		assert.NotEmpty(t, tests, "%s names no test", cells[0])
		assert.Equal(t, strings.Count(cells[4], "`"), 2*len(tests), "a test of %s is not of the form package:Test", cells[0])
		for _, one := range tests {
			top, _, _ := strings.Cut(one[2], "/")
			assert.True(t, declared(t, filepath.Join("../..", one[1]), top), "%s: no test %s in %s", cells[0], top, one[1])
		}
	}
	assert.Equal(t, 21, hazards)
}

// declared tells whether a test function stands in the test files of a folder.
func declared(t *testing.T, dir, name string) bool {
	t.Helper()
	files, err := fs.Glob(os.DirFS(dir), "*_test.go")
	require.NoError(t, err)
	for _, file := range files {
		parsed, err := parser.ParseFile(token.NewFileSet(), filepath.Join(dir, file), nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		for _, d := range parsed.Decls {
			if f, ok := d.(*ast.FuncDecl); ok && f.Recv == nil && f.Name.Name == name {
				return true
			}
		}
	}
	return false
}
