package embedded_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/embedded"
)

func TestRecords(t *testing.T) {
	assert.Equal(t, [][]string{{"a", "1"}, {"b, c", "2"}}, embedded.Records("# a note\nname,value\na,1\n\"b, c\",2\n"))
	for name, broken := range map[string]string{"nothing": "", "names alone": "name,value\n", "a row too short": "name,value\na\n"} {
		assert.Panics(t, func() { embedded.Records(broken) }, name)
	}
	assert.Equal(t, []float64{1, 2.5e-3}, embedded.Numbers([]string{"1", "2.5e-3"}))
	assert.Panics(t, func() { embedded.Numbers([]string{"one"}) })
	assert.Equal(t, 1, embedded.Must(1, nil))
	assert.Panics(t, func() { embedded.Must(1, assert.AnError) })
}

func TestEach(t *testing.T) {
	tests := map[string]struct{ table, want string }{
		"notes and rows":      {"# note\nname,value\na,1\n\n# another\nb,2\n", ""},
		"nothing":             {"", "no header line: EOF"},
		"other columns":       {"name,number\n", "line 1 wants the columns name,value, got name,number"},
		"a row too long":      {"name,value\na,1\nb,2,3\n", "record on line 3: wrong number of fields"},
		"a row not to be had": {"name,value\na,1\n# note\nbad,2\n", "line 4: bad"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			var got []string
			err := embedded.Each(strings.NewReader(tt.table), "name,value", func(line int, fields []string) error {
				if fields[0] == "bad" {
					return errors.New("bad")
				}
				got = append(got, fields[0])
				return nil
			})
			if tt.want == "" {
				require.NoError(t, err)
				assert.Equal(t, []string{"a", "b"}, got)
				return
			}
			require.EqualError(t, err, tt.want)
		})
	}
}
