// Package internal_test keeps the layers of the project: who may import whom.
package internal_test

import (
	"errors"
	"fmt"
	"go/ast"
	"go/build"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const module = "afterbeam"

// layers ranks the parts of the project, lowest first. A part may import the parts of the ranks below it; parts of one
// rank do not know each other.
var layers = [][]string{
	{"internal/quantity", "internal/wording", "internal/embedded", "internal/aetitle", "internal/help", "internal/metric"},
	{"internal/procedure"},
	{"internal/report", "internal/physics"},
	{"internal/followup", "internal/summary"},
	{"internal/audit", "internal/crashpoint", "internal/settings"},
	{"internal/store"},
	{"internal/access", "internal/deliver", "internal/export", "internal/ingest", "internal/upkeep"},
	{"internal/httpapi"},
	{"internal/web"},
	{"internal/demo"},
	{"internal/crashtest"},
	{"cmd", "scripts"},
}

// physicsLayers ranks the packages inside physics in the same way.
var physicsLayers = [][]string{
	{"internal/physics/beam"},
	{"internal/physics/body"},
	{"internal/physics/exposure", "internal/physics/transport"},
	{"internal/physics/skindose", "internal/physics/effective", "internal/physics/commission"},
	{"internal/physics/organ"},
}

// testSupport may be imported by tests alone.
var testSupport = []string{"internal/peer", "internal/peer/mailbox", "internal/golden", "internal/witness", "internal/validation", "internal/store/invented", "internal/web/browsertest"}

// reserved says which packages alone may import a library and what it brings along.
var reserved = []struct{ library, owner string }{
	{"github.com/suyashkumar/dicom", "internal/report/dicomio"},
	{"modernc.org/sqlite", "internal/store"},
	{"github.com/jackc/pgx", "internal/store"},
}

// impure are the parts of the standard library that would let the world into a result. Reading embedded files is not
// among them: they are the same bytes in every run of one version.
var impure = []string{"net", "database/sql", "os", "log", "math/rand", "io/ioutil"}

// pure are the parts that must not import them.
var pure = []string{"internal/quantity", "internal/physics"}

// unit is one package with what its sources and its tests import and the calls of the clock in its sources.
type unit struct {
	Path           string // without the module name
	Imports, Tests []string
	Clock          []string
}

func TestLayers(t *testing.T) {
	units := read(t, "..")
	require.Greater(t, len(units), 3, "the tree was not found")
	assert.Empty(t, violations(units))
}

// TestViolations shows that each rule catches the edge it is there for, and that right edges pass.
func TestViolations(t *testing.T) {
	tests := map[string]struct {
		give unit
		want string // "" is none
	}{
		"a lower part":                {unit{Path: "internal/store", Imports: []string{"afterbeam/internal/audit", "fmt"}}, ""},
		"its own sub-package":         {unit{Path: "internal/ingest/dimse", Imports: []string{"afterbeam/internal/ingest"}}, ""},
		"the next package in physics": {unit{Path: "internal/physics/skindose", Imports: []string{"afterbeam/internal/physics/beam"}}, ""},
		"support in tests":            {unit{Path: "internal/report", Tests: []string{"afterbeam/internal/golden"}}, ""},
		"support in support":          {unit{Path: "internal/web/browsertest", Imports: []string{"afterbeam/internal/peer"}}, ""},
		"demo data in tests below":    {unit{Path: "internal/report", Tests: []string{"afterbeam/internal/demo"}}, ""},
		"the owner's library":         {unit{Path: "internal/report/dicomio", Imports: []string{"github.com/suyashkumar/dicom/pkg/tag"}}, ""},
		"embedded files in physics":   {unit{Path: "internal/physics/beam", Imports: []string{"embed", "encoding/csv"}}, ""},
		"a longer name is no match":   {unit{Path: "internal/physics/beam", Imports: []string{"osmosis"}}, ""},

		"upward":                   {unit{Path: "internal/procedure", Imports: []string{"afterbeam/internal/report"}}, "internal/procedure imports internal/report, which is not below it"},
		"sideways":                 {unit{Path: "internal/physics/beam", Imports: []string{"afterbeam/internal/report/rdsr"}}, "internal/physics/beam imports internal/report/rdsr, which is not below it"},
		"upward in physics":        {unit{Path: "internal/physics/beam", Imports: []string{"afterbeam/internal/physics/body"}}, "internal/physics/beam imports internal/physics/body, which is not below it"},
		"sideways in physics":      {unit{Path: "internal/physics/effective", Imports: []string{"afterbeam/internal/physics/skindose"}}, "internal/physics/effective imports internal/physics/skindose, which is not below it"},
		"a part without rank":      {unit{Path: "internal/newcomer"}, "internal/newcomer has no rank: place it in the table of layers"},
		"physics without rank":     {unit{Path: "internal/physics/newcomer"}, "internal/physics/newcomer has no rank: place it in the table of layers"},
		"a name that begins alike": {unit{Path: "internal/reporting"}, "internal/reporting has no rank: place it in the table of layers"},
		"support outside tests":    {unit{Path: "internal/demo", Imports: []string{"afterbeam/internal/peer"}}, "internal/demo imports internal/peer, which is for tests"},
		"another's library":        {unit{Path: "internal/report/rdsr", Imports: []string{"github.com/suyashkumar/dicom"}}, "internal/report/rdsr imports github.com/suyashkumar/dicom, which belongs to internal/report/dicomio"},
		"another's, in tests":      {unit{Path: "internal/demo", Tests: []string{"github.com/suyashkumar/dicom/pkg/tag"}}, "internal/demo imports github.com/suyashkumar/dicom/pkg/tag, which belongs to internal/report/dicomio"},
		"a driver outside":         {unit{Path: "internal/httpapi", Imports: []string{"modernc.org/sqlite"}}, "internal/httpapi imports modernc.org/sqlite, which belongs to internal/store"},
		"network in physics":       {unit{Path: "internal/physics/body", Imports: []string{"net/http"}}, "internal/physics/body imports net/http: it must be pure"},
		"files in physics":         {unit{Path: "internal/physics/body", Imports: []string{"os"}}, "internal/physics/body imports os: it must be pure"},
		"a logger in physics":      {unit{Path: "internal/physics/body", Imports: []string{"log/slog"}}, "internal/physics/body imports log/slog: it must be pure"},
		"the clock in physics":     {unit{Path: "internal/physics/body", Clock: []string{"shape.go:7: time.Now"}}, "internal/physics/body reads the clock: shape.go:7: time.Now"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got := violations([]unit{tt.give})
			if tt.want == "" {
				assert.Empty(t, got)
				return
			}
			assert.Equal(t, []string{tt.want}, got)
		})
	}
}

// TestRead shows that the reader sees what the rules are about, in a small tree with all of it.
func TestRead(t *testing.T) {
	root := t.TempDir()
	write := func(name, text string) {
		file := filepath.Join(root, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(file), 0o755))
		require.NoError(t, os.WriteFile(file, []byte(text), 0o644))
	}
	write("internal/physics/body/a.go", "package body\n\nimport (\n\tclock \"time\"\n\t\"os\"\n)\n\nvar _, _ = clock.Now, os.Args\n")
	write("internal/physics/body/a_test.go", "package body_test\n\nimport \"afterbeam/internal/golden\"\n\nvar _ = golden.Check\n")
	write("internal/physics/body/testdata/b.go", "package broken !\n")
	write("scripts/tools/go.mod", "module tools\n")
	write("scripts/tools/c.go", "package tools\n")
	want := []unit{{
		Path: "internal/physics/body", Imports: []string{"os", "time"},
		Tests: []string{"afterbeam/internal/golden"}, Clock: []string{"a.go:8: time.Now"},
	}}
	assert.Equal(t, want, read(t, root))
}

// violations gives one line for each import that the layers forbid, in the order of the units.
func violations(units []unit) []string {
	var out []string
	for _, u := range units {
		if rank(layers, u.Path) < 0 && !slices.Contains(testSupport, u.Path) ||
			u.Path != "internal/physics" && within(u.Path, "internal/physics") && rank(physicsLayers, u.Path) < 0 {
			out = append(out, u.Path+" has no rank: place it in the table of layers")
			continue
		}
		for _, imported := range u.Imports {
			if fault := forbidden(u.Path, imported); fault != "" {
				out = append(out, u.Path+" imports "+fault)
			}
		}
		for _, imported := range slices.Concat(u.Imports, u.Tests) {
			for _, r := range reserved {
				if within(imported, r.library) && !within(u.Path, r.owner) {
					out = append(out, u.Path+" imports "+imported+", which belongs to "+r.owner)
				}
			}
		}
		if within(u.Path, "internal/physics") {
			for _, call := range u.Clock {
				out = append(out, u.Path+" reads the clock: "+call)
			}
		}
	}
	return out
}

// forbidden says what is wrong with one import by sources, or "".
func forbidden(from, imported string) string {
	own, isOwn := strings.CutPrefix(imported, module+"/")
	switch {
	case !isOwn:
		if slices.ContainsFunc(pure, under(from)) && slices.ContainsFunc(impure, under(imported)) {
			return imported + ": it must be pure"
		}
	case slices.Contains(testSupport, own) && !slices.Contains(testSupport, from):
		return own + ", which is for tests"
	case within(from, "internal/physics") && within(own, "internal/physics"):
		if rank(physicsLayers, own) >= rank(physicsLayers, from) {
			return own + ", which is not below it"
		}
	case part(from) != "" && part(from) == part(own):
	case rank(layers, own) >= rank(layers, from):
		return own + ", which is not below it"
	}
	return ""
}

// rank gives the place of a package in the table, or -1.
func rank(table [][]string, pkg string) int {
	return slices.IndexFunc(table, func(level []string) bool { return slices.ContainsFunc(level, under(pkg)) })
}

// part gives the row of the table of layers that a package belongs to, or "".
func part(pkg string) string {
	for _, level := range layers {
		if i := slices.IndexFunc(level, under(pkg)); i >= 0 {
			return level[i]
		}
	}
	return ""
}

func within(pkg, parent string) bool { return pkg == parent || strings.HasPrefix(pkg, parent+"/") }

func under(pkg string) func(string) bool {
	return func(parent string) bool { return within(pkg, parent) }
}

// read gives the packages below root in the order of their paths. It leaves out testdata, hidden folders and nested
// modules. It opens the files itself instead of asking the go command, so that the cache of test results notices when
// one of them changes.
func read(t *testing.T, root string) []unit {
	t.Helper()
	var units []unit
	require.NoError(t, filepath.WalkDir(root, func(folder string, entry fs.DirEntry, err error) error {
		if err != nil || !entry.IsDir() {
			return err
		}
		name := entry.Name()
		if folder != root {
			_, nested := os.Stat(filepath.Join(folder, "go.mod"))
			if nested == nil || name == "testdata" || strings.HasPrefix(name, ".") && name != ".." {
				return filepath.SkipDir
			}
		}
		relative, err := filepath.Rel(root, folder)
		if err != nil {
			return err
		}
		pkg, err := build.ImportDir(folder, 0)
		if none := (*build.NoGoError)(nil); errors.As(err, &none) || relative == "internal" {
			return nil
		}
		if err != nil {
			return fmt.Errorf("read %s: %w", relative, err)
		}
		clock, err := clockCalls(folder, pkg.GoFiles)
		units = append(units, unit{
			Path: filepath.ToSlash(relative), Imports: pkg.Imports,
			Tests: slices.Concat(pkg.TestImports, pkg.XTestImports), Clock: clock,
		})
		return err
	}))
	return units
}

// clockCalls lists where files name a function of package time that reads the clock, whatever name it was imported by.
func clockCalls(folder string, files []string) ([]string, error) {
	var out []string
	positions := token.NewFileSet()
	for _, name := range files {
		file, err := parser.ParseFile(positions, filepath.Join(folder, name), nil, 0)
		if err != nil {
			return nil, err
		}
		local := ""
		for _, spec := range file.Imports {
			if spec.Path.Value == `"time"` {
				local = "time"
				if spec.Name != nil {
					local = spec.Name.Name
				}
			}
		}
		ast.Inspect(file, func(n ast.Node) bool {
			selector, ok := n.(*ast.SelectorExpr)
			if !ok || local == "" {
				return true
			}
			on, ok := selector.X.(*ast.Ident)
			if ok && on.Name == local && slices.Contains([]string{"Now", "Since", "Until", "After", "Tick", "NewTimer"}, selector.Sel.Name) {
				at := positions.Position(selector.Pos())
				out = append(out, fmt.Sprintf("%s:%d: time.%s", path.Base(filepath.ToSlash(at.Filename)), at.Line, selector.Sel.Name))
			}
			return true
		})
	}
	return out, nil
}
