package demo_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/peer"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/rdsr"
)

func write(w io.Writer, r *procedure.Report) error { return rdsr.Write(w, r, rdsr.WriteOptions{}) }

func written(t *testing.T, r *procedure.Report) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, write(&b, r))
	return b.Bytes()
}

// TestCasesSurviveWritingAndReading compares each value of each case with what a reader makes of its file.
func TestCasesSurviveWritingAndReading(t *testing.T) {
	for _, c := range demo.Cases() {
		t.Run(c.File, func(t *testing.T) {
			got, err := rdsr.Read(written(t, &c.Report), rdsr.Options{})
			require.NoError(t, err)
			for _, f := range got.Findings {
				if len(c.Report.Events) > 0 {
					assert.LessOrEqual(t, f.Severity, procedure.Note, "%s: %s: %s", f.Rule, f.Place, f.Text)
				}
			}
			want, have := flat(t, c.Report), flat(t, *got)
			for path, v := range want {
				assertSame(t, path, v, have[path])
			}
			for path, v := range have {
				if _, ok := want[path]; !ok {
					assert.Nil(t, v, "%s came from nowhere", path)
				}
			}
		})
	}
}

// assertSame compares numbers to 1e-9 of their size: a decimal string of 16 characters holds more digits than that.
func assertSame(t *testing.T, path string, want, got any) {
	t.Helper()
	w, isNumber := want.(float64)
	g, both := got.(float64)
	if isNumber && both {
		assert.LessOrEqual(t, math.Abs(w-g), 1e-9*math.Abs(w), "%s: want %v, got %v", path, w, g)
		return
	}
	assert.Equal(t, want, got, path)
}

// flat lists the values of a report by path, without what reading adds: digests, findings and places. Persons go by name:
// TID 10001 has room for one participant, so the others become observers, who stand before it and have no issuer.
func flat(t *testing.T, r procedure.Report) map[string]any {
	t.Helper()
	r.Persons = slices.Clone(r.Persons)
	slices.SortFunc(r.Persons, func(a, b procedure.Person) int { return strings.Compare(a.Name, b.Name) })
	for i := range r.Persons {
		r.Persons[i].Issuer = ""
	}
	b, err := json.Marshal(r)
	require.NoError(t, err)
	var tree any
	require.NoError(t, json.Unmarshal(b, &tree))
	list := map[string]any{}
	flatten(list, "", tree)
	return list
}

func flatten(list map[string]any, path string, v any) {
	added := []string{"BytesDigest", "DataSetDigest", "ContentDigest", "Findings", "Place", "ReportUID"}
	switch v := v.(type) {
	case map[string]any:
		for name, part := range v {
			if !slices.Contains(added, name) {
				flatten(list, path+"/"+name, part)
			}
		}
	case []any:
		for i, part := range v {
			flatten(list, fmt.Sprintf("%s/%d", path, i+1), part)
		}
	case nil:
	default:
		list[path] = v
	}
}

// TestOutsideProgramsAcceptTheFiles lets two independent readers judge the files.
func TestOutsideProgramsAcceptTheFiles(t *testing.T) {
	paths, err := demo.WriteAll(t.TempDir(), write)
	require.NoError(t, err)
	t.Run("dciodvfy", func(t *testing.T) {
		program := peer.Need(t, "dciodvfy")
		for _, path := range paths {
			out, err := exec.Command(program, path).CombinedOutput()
			require.NoError(t, err, "%s", out)
			for line := range strings.Lines(string(out)) {
				assert.False(t, strings.HasPrefix(line, "Error"), "%s: %s", path, line)
			}
		}
	})
	t.Run("dsrdump", func(t *testing.T) {
		program := peer.Need(t, "dsrdump")
		for _, path := range paths {
			out, err := exec.Command(program, path).CombinedOutput()
			require.NoError(t, err, "%s", out)
			assert.Contains(t, string(out), "synthetic", path)
			assert.NotContains(t, string(out), "E: ", path)
		}
	})
}

// TestOddCasesAreFoundOut holds each fault against the rules that must speak, and no other.
func TestOddCasesAreFoundOut(t *testing.T) {
	cases := demo.Odd()
	require.NotEmpty(t, cases)
	for _, c := range cases {
		t.Run(c.File, func(t *testing.T) {
			got, err := rdsr.Read(written(t, &c.Report), rdsr.Options{})
			require.NoError(t, err)
			var rules []string
			for _, f := range got.Findings {
				if f.Severity > procedure.Note && !slices.Contains(rules, f.Rule) {
					rules = append(rules, f.Rule)
				}
			}
			slices.Sort(rules)
			assert.Equal(t, c.Want, rules)
			assert.Contains(t, c.Title, "synthetic")
		})
	}
}
