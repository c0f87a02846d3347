package main

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/golden"
	"afterbeam/internal/settings"
)

// The statement in the repository is what the tables of the code say.
func TestConformanceStatement(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, stateConformance(&out, settings.Default().DICOM))
	golden.Check(t, "../../api/conformance.md", out.Bytes())
	for _, text := range []string{"<no value>", "<nil>", "%!"} {
		assert.NotContains(t, out.String(), text)
	}
}
