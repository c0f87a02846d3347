package procedure_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"afterbeam/internal/procedure"
)

func TestToldAge(t *testing.T) {
	for years, want := range map[float64]float64{0: 0, 0.7: 8.0 / 12, 9.97: 9 + 11.0/12, 15.99: 15 + 11.0/12, 16: 16, 72.9: 72} {
		assert.InDelta(t, want, procedure.ToldAge(years), 1e-9, "%v years", years) // one rounding
	}
}

// An age that is told once more stays, so that a stored procedure is estimated like the report it came from.
func TestToldAgeStays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		once := procedure.ToldAge(rapid.Float64Range(0, 120).Draw(t, "years"))
		assert.Equal(t, once, procedure.ToldAge(once))
	})
}
