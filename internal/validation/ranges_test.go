package validation_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/validation"
)

// Source: worked by hand from the closed form; 0 of 10 and 10 of 10 have 1/(1 + z^2/10) as their inner end.
func TestWilson(t *testing.T) {
	tests := map[string]struct {
		k, n      int
		low, high float64
	}{
		"nothing seen says nothing": {0, 0, 0, 1},
		"none of ten":               {0, 10, 0, 0.27753},
		"all of ten":                {10, 10, 0.72247, 1},
		"half of a hundred":         {50, 100, 0.40383, 0.59617},
		"95 of a hundred":           {95, 100, 0.88825, 0.97846},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			low, high := validation.Wilson(tt.k, tt.n)
			assert.InDelta(t, tt.low, low, 1e-5) // digits of the expectation
			assert.InDelta(t, tt.high, high, 1e-5)
		})
	}
}

func TestRangesDone(t *testing.T) {
	tests := map[string]struct {
		rows        []validation.Held
		few, lately int // failures of an ordinary and of a full run
	}{
		"all inside":                      {[]validation.Held{{Of: 300}}, 0, 0},
		"at the demand":                   {[]validation.Held{{Above: 15, Of: 300}}, 0, 0},
		"one of six outside":              {[]validation.Held{{Below: 1, Of: 6}}, 0, 1},
		"surely under the demand":         {[]validation.Held{{Below: 20, Above: 20, Of: 300}}, 1, 1},
		"a known miss":                    {[]validation.Held{{Below: 40, Of: 300, Known: "narrow"}}, 0, 0},
		"no cases are no proof":           {[]validation.Held{{}}, 1, 1},
		"no rows are no proof of a thing": {nil, 1, 1},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			for mode, want := range map[string]int{"": tt.few, "full": tt.lately} {
				t.Setenv("AFTERBEAM_VALIDATE", mode)
				v := &verdict{TB: t}
				table := validation.NewRanges("ranges", 0.95)
				table.Add(tt.rows...)
				table.Done(v)
				assert.Equal(t, want, v.failed, "mode %q", mode)
			}
		})
	}
}
