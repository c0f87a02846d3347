package validation_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/validation"
)

// verdict keeps a failing table from failing the test that watches it.
type verdict struct {
	testing.TB
	failed int
}

func (v *verdict) Helper()               {}
func (v *verdict) Errorf(string, ...any) { v.failed++ }

func TestDone(t *testing.T) {
	nan := 0.0
	nan /= nan
	tests := map[string]struct {
		rows []validation.Row
		want int
	}{
		"within the demand":               {[]validation.Row{{Ours: 1.01, Reference: 1, Demand: 0.02}}, 0},
		"beyond the demand":               {[]validation.Row{{Ours: 1.03, Reference: 1, Demand: 0.02}}, 1},
		"below by too much":               {[]validation.Row{{Ours: 0.97, Reference: 1, Demand: 0.02}}, 1},
		"a negative reference":            {[]validation.Row{{Ours: -1.01, Reference: -1, Demand: 0.02}}, 0},
		"within demand and errors":        {[]validation.Row{{Ours: 1.03, Reference: 1, Demand: 0.02, Error: 0.006}}, 0},
		"a known miss":                    {[]validation.Row{{Ours: 1.03, Reference: 1, Demand: 0.02, Known: "spectra differ"}}, 0},
		"one of two":                      {[]validation.Row{{Ours: 1, Reference: 1}, {Ours: 2, Reference: 1}}, 1},
		"not a number":                    {[]validation.Row{{Ours: nan, Reference: 1, Demand: 1}}, 1},
		"no rows are no proof of a thing": {nil, 1},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			v := &verdict{TB: t}
			table := validation.New("table", 2)
			table.Add(tt.rows...)
			table.Done(v)
			assert.Equal(t, tt.want, v.failed)
		})
	}
}
