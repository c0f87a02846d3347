package main

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/golden"
)

// The statement in the repository is what the tables of the code say.
func TestConformanceStatement(t *testing.T) {
	var out, complaint bytes.Buffer
	require.Zero(t, run([]string{"conformance"}, console{in: strings.NewReader(""), out: &out, err: &complaint}), complaint.String())
	golden.Check(t, "../../api/conformance.md", out.Bytes())
	for _, text := range []string{"<no value>", "<nil>", "%!"} {
		assert.NotContains(t, out.String(), text)
	}
}
