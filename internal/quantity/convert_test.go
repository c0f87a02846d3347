package quantity_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/quantity"
)

// Levels are compared with >=, so a number that is a level in another unit must come out as exactly that level.
func TestConvertHitsLevelsExactly(t *testing.T) {
	tests := map[string]struct {
		number   float64
		from, to string
		want     float64
	}{
		"dGy.cm2": {5000, "dGy.cm2", "Gy.m2", 0.05},
		"cGy.cm2": {50000, "cGy.cm2", "Gy.m2", 0.05},
		"uGy.m2":  {50000, "uGy.m2", "Gy.m2", 0.05},
		"Gy.cm2":  {300, "Gy.cm2", "Gy.m2", 0.03},
		"mGy":     {12.3, "mGy", "Gy", 0.0123},
		"cm":      {76.5, "cm", "mm", 765},
		"ms":      {7, "ms", "s", 0.007},
		"minute":  {0.1, "min", "s", 6},
		"uA.s":    {123, "uA.s", "mA.s", 0.123},
		"same":    {0.3, "Gy", "Gy", 0.3},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			from, err := quantity.ParseUnit(tt.from)
			require.NoError(t, err)
			to, err := quantity.ParseUnit(tt.to)
			require.NoError(t, err)
			got, err := from.Convert(tt.number, to)
			require.NoError(t, err)
			assert.Equal(t, tt.want, got)
		})
	}
}
