package witness

import (
	"bytes"
	"encoding/csv"
	"testing"

	"github.com/stretchr/testify/require"
)

// Rows reads a table (CSV) with a header as one map a row, by the names of its columns.
func Rows(t testing.TB, text []byte) []map[string]string {
	t.Helper()
	lines, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	require.NoError(t, err)
	require.NotEmpty(t, lines)
	var rows []map[string]string
	for _, line := range lines[1:] {
		row := map[string]string{}
		for i, name := range lines[0] {
			row[name] = line[i]
		}
		rows = append(rows, row)
	}
	return rows
}
