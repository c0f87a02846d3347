package quantity_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/quantity"
)

// Expected sizes are SI prefix arithmetic; the kerma-area rows are those every fluoroscopy report can carry.
func TestParseUnit(t *testing.T) {
	tests := map[string]struct {
		dimension quantity.Dimension
		size      float64
		repaired  bool
	}{
		"Gy":        {quantity.DimensionDose, 1, false},
		"mGy":       {quantity.DimensionDose, 1e-3, false},
		"cGy":       {quantity.DimensionDose, 1e-2, false},
		"uGy":       {quantity.DimensionDose, 1e-6, false},
		"Gy.m2":     {quantity.DimensionDoseArea, 1, false},
		"m2.Gy":     {quantity.DimensionDoseArea, 1, false},
		"Gy.cm2":    {quantity.DimensionDoseArea, 1e-4, false},
		"dGy.cm2":   {quantity.DimensionDoseArea, 1e-5, false},
		"cGy.cm2":   {quantity.DimensionDoseArea, 1e-6, false},
		"uGy.m2":    {quantity.DimensionDoseArea, 1e-6, false},
		"mGy.cm2":   {quantity.DimensionDoseArea, 1e-7, false},
		"Gym2":      {quantity.DimensionDoseArea, 1, true},
		"mGycm2":    {quantity.DimensionDoseArea, 1e-7, true},
		" Gy.m2 ":   {quantity.DimensionDoseArea, 1, false},
		"mm":        {quantity.DimensionLength, 1e-3, false},
		"cm":        {quantity.DimensionLength, 1e-2, false},
		"m2":        {quantity.DimensionArea, 1, false},
		"cm2":       {quantity.DimensionArea, 1e-4, false},
		"mm2":       {quantity.DimensionArea, 1e-6, false},
		"s":         {quantity.DimensionTime, 1, false},
		"ms":        {quantity.DimensionTime, 1e-3, false},
		"min":       {quantity.DimensionTime, 60, false},
		"kV":        {quantity.DimensionVoltage, 1e3, false},
		"mA":        {quantity.DimensionCurrent, 1e-3, false},
		"uA.s":      {quantity.DimensionCurrentTime, 1e-6, false},
		"mA.s":      {quantity.DimensionCurrentTime, 1e-3, false},
		"mC":        {quantity.DimensionCurrentTime, 1e-3, false},
		"{pulse}/s": {quantity.DimensionRate, 1, false},
		"/s":        {quantity.DimensionRate, 1, false},
		"1":         {quantity.DimensionNone, 1, false},
		"{frames}":  {quantity.DimensionNone, 1, false},
		"%":         {quantity.DimensionNone, 0.01, false},
		"kg":        {quantity.DimensionMass, 1e3, false},
		"mGy/s.s":   {quantity.DimensionDose, 1e-3, false},
	}
	for code, tt := range tests {
		t.Run(code, func(t *testing.T) {
			u, err := quantity.ParseUnit(code)
			require.NoError(t, err)
			assert.Equal(t, tt.dimension, u.Dimension)
			assert.InEpsilon(t, tt.size, u.Size, 1e-12) // a few roundings of powers of ten
			assert.Equal(t, tt.repaired, u.Repaired)
		})
	}
}

func TestParseUnitRefuses(t *testing.T) {
	for _, code := range []string{"", " ", "Gray", "foo", "Gy.", ".Gy", "Gy..m2", "Gy9", "m0", "{x", "kmin", "Gy m3 m", "0", "-1"} {
		_, err := quantity.ParseUnit(code)
		assert.ErrorIs(t, err, quantity.ErrUnit, code)
	}
}

func TestConvertRefusesAnotherKind(t *testing.T) {
	gray, err := quantity.ParseUnit("Gy")
	require.NoError(t, err)
	area, err := quantity.ParseUnit("Gy.m2")
	require.NoError(t, err)
	_, err = gray.Convert(1, area)
	assert.ErrorIs(t, err, quantity.ErrUnit)
}

func FuzzParseUnit(f *testing.F) {
	for _, s := range []string{"Gy.m2", "{pulse}/s", "uA.s", "Gym2", "1", "/s", "m-2", "10.Gy"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		u, err := quantity.ParseUnit(s)
		if err == nil && u.Size <= 0 {
			t.Fatalf("unit %q has size %v", s, u.Size)
		}
	})
}

// A value below a level never prints as the level, and otherwise prints as the nearest decimal.
func TestBelowNeverPrintsTheLevel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		level := float64(rapid.IntRange(1, 20).Draw(t, "level"))
		value := level - rapid.Float64Range(1e-12, 0.5).Draw(t, "short")
		decimals := rapid.IntRange(0, 4).Draw(t, "decimals")
		printed := quantity.Below(value, decimals, level)
		assert.NotEqual(t, quantity.Fixed(level, decimals), printed)
	})
}

func TestPrinting(t *testing.T) {
	assert.Equal(t, "2.99", quantity.Below(2.999, 2, 3, 5))
	assert.Equal(t, "3.00", quantity.Below(3, 2, 3, 5))
	assert.Equal(t, "3.00", quantity.Below(2.999, 2))
	assert.Equal(t, "4.99", quantity.Below(4.9999999, 2, 3, 5))
	assert.Equal(t, "0.2", quantity.Fixed(0.25, 1)) // half to even
	assert.Equal(t, "0.12", quantity.Fixed(0.125, 2))
	assert.Equal(t, "0", quantity.Fixed(-0.3, 0))
	assert.Equal(t, "-0.3", quantity.Fixed(-0.3, 1))
	assert.Equal(t, "20", quantity.Significant(19.96, 2))
	assert.Equal(t, "0.30", quantity.Significant(0.299, 2))
	assert.Equal(t, "1200", quantity.Significant(1234, 2))
	assert.Equal(t, "1.0", quantity.Significant(0.996, 2))
	assert.Equal(t, "0", quantity.Significant(0, 2))
}

func TestOpt(t *testing.T) {
	var o quantity.Opt[quantity.Gray]
	_, ok := o.Get()
	assert.False(t, ok)
	assert.True(t, o.IsZero())
	b, err := o.MarshalJSON()
	require.NoError(t, err)
	assert.Equal(t, "null", string(b))
	require.NoError(t, o.UnmarshalJSON([]byte("0")))
	v, ok := o.Get()
	assert.True(t, ok, "a present zero is present")
	assert.Equal(t, quantity.Gray(0), v)
	require.NoError(t, o.UnmarshalJSON([]byte("null")))
	assert.False(t, o.Present())
}
