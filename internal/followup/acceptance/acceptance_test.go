package acceptance_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/followup/acceptance"
	"afterbeam/internal/quantity"
)

func served() acceptance.Served {
	return acceptance.Served{
		Kerma: quantity.Some[quantity.Gray](1.2345), KAP: quantity.Some[quantity.GraySquareMetre](0.0123), Time: quantity.Some[quantity.Second](750),
		KermaWhole: true, KAPWhole: true, TimeWhole: true,
	}
}

func TestCompare(t *testing.T) {
	partly, nothing := served(), acceptance.Served{}
	partly.KermaWhole = false
	for _, c := range []struct {
		name     string
		quantity acceptance.Quantity
		text     string
		unit     string
		of       acceptance.Served
		want     acceptance.State
		percent  float64 // of the difference, to 0.01
	}{
		{"milligray to the digit", acceptance.Kerma, "1234.5", "mGy", served(), acceptance.Agrees, 0},
		{"half of the last digit", acceptance.Kerma, "1.23", "Gy", served(), acceptance.Agrees, 0.37},
		{"beyond the last digit", acceptance.Kerma, "1.24", "Gy", served(), acceptance.Differ, -0.44},
		{"decimal comma", acceptance.Kerma, "1,23", "Gy", served(), acceptance.Agrees, 0.37},
		{"a thousand times too much", acceptance.Kerma, "1.23", "mGy", served(), acceptance.Differ, 100265.85},
		{"KAP in Gy.cm2", acceptance.KAP, "123", "Gy.cm2", served(), acceptance.Agrees, 0},
		{"KAP in dGy.cm2", acceptance.KAP, "1230", "dGy.cm2", served(), acceptance.Agrees, 0},
		{"KAP in cGy.cm2 read as dGy.cm2", acceptance.KAP, "12300", "dGy.cm2", served(), acceptance.Differ, -90},
		{"KAP in uGy.m2", acceptance.KAP, "12300", "uGy.m2", served(), acceptance.Agrees, 0},
		{"minutes", acceptance.Time, "12.5", "min", served(), acceptance.Agrees, 0},
		{"minutes and seconds", acceptance.Time, "12:30", "min", served(), acceptance.Agrees, 0},
		{"minutes and seconds, one off", acceptance.Time, "12:29", "min", served(), acceptance.Differ, 0.13},
		{"of some planes only", acceptance.Kerma, "1.2345", "Gy", partly, acceptance.Open, 0},
		{"not known is not zero", acceptance.Kerma, "0.00", "Gy", nothing, acceptance.Open, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, err := acceptance.Compare("case", []acceptance.Reading{{Quantity: c.quantity, Text: c.text, Unit: c.unit}}, c.of, 0)
			require.NoError(t, err)
			require.Len(t, rows, 1)
			assert.Equal(t, c.want, rows[0].State)
			if c.of == nothing {
				assert.Nil(t, rows[0].Served)
				assert.Nil(t, rows[0].DifferencePercent)
				return
			}
			assert.InDelta(t, c.percent, *rows[0].DifferencePercent, 0.01, "printed to two decimals")
		})
	}
}

func TestReadingsRefused(t *testing.T) {
	for name, r := range map[string]acceptance.Reading{
		"no number": {Quantity: acceptance.Kerma, Text: "many", Unit: "Gy"}, "negative": {Quantity: acceptance.Kerma, Text: "-1", Unit: "Gy"},
		"an exponent": {Quantity: acceptance.Kerma, Text: "1e3", Unit: "mGy"}, "another unit": {Quantity: acceptance.KAP, Text: "1", Unit: "Gy"},
		"61 seconds": {Quantity: acceptance.Time, Text: "12:61", Unit: "min"}, "another quantity": {Quantity: "psd", Text: "1", Unit: "Gy"},
		"infinite": {Quantity: acceptance.Kerma, Text: "Inf", Unit: "Gy"}, "empty": {Quantity: acceptance.Kerma, Unit: "Gy"},
	} {
		_, err := acceptance.Compare("case", []acceptance.Reading{r}, served(), acceptance.DefaultTolerance)
		require.ErrorIs(t, err, acceptance.ErrReading, name)
	}
}

// TestRoundedReadingsAgree rounds what the service has as a display does.
func TestRoundedReadingsAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(1e-4, 50).Draw(t, "Gy")
		decimals := rapid.IntRange(0, 4).Draw(t, "decimals")
		s := acceptance.Served{Kerma: quantity.Some(quantity.Gray(v)), KermaWhole: true}
		rows, err := acceptance.Compare("case", []acceptance.Reading{{Quantity: acceptance.Kerma, Text: quantity.Fixed(v, decimals), Unit: "Gy"}}, s, 0)
		require.NoError(t, err)
		assert.Equal(t, acceptance.Agrees, rows[0].State)
		assert.True(t, acceptance.AllAgree(rows))
	})
	assert.False(t, acceptance.AllAgree(nil), "nothing was compared")
}
