package performed_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/performed"
	"afterbeam/internal/quantity"
)

func TestAnnouncedUnits(t *testing.T) {
	totals, found := performed.Announced{
		AreaDoseProduct: quantity.Some(1250.0), FluoroscopyTime: quantity.Some(1800.0), EntranceDose: quantity.Some(900.0),
		SourceToDetector: quantity.Some(1100.0), SourceToEntrance: quantity.Some(650.0),
	}.Totals()
	assert.Empty(t, found)
	assert.InDelta(t, 125, totals.KAP.Or(0).Gycm2(), 1e-12, "dGy cm2 are a tenth of Gy cm2")
	assert.Equal(t, quantity.Some[quantity.Second](1800), totals.FluoroTime)
	assert.InDelta(t, 0.9, float64(totals.Entrance.Or(0)), 1e-15, "one rounding")
	assert.Equal(t, quantity.Some[quantity.Millimetre](1100), totals.SourceToDetector)
	assert.Equal(t, quantity.Some[quantity.Millimetre](650), totals.SourceToEntrance)
	assert.True(t, performed.Totals{}.IsZero())
	assert.False(t, totals.IsZero())
}

// A unit that is wrong by 10 or 100 shows where it leaves what there is, and never takes the value away.
func TestWrongUnitsAreSuspected(t *testing.T) {
	tests := map[string]struct {
		area, seconds, entrance float64
		suspect                 bool
	}{
		"ordinary":                    {1250, 1800, 900, false},
		"cGy cm2 for dGy cm2, x 10":   {12500, 1800, 90, true},
		"mGy cm2 for dGy cm2, x 100":  {125000, 1800, 900, true},
		"Gy m2 for dGy cm2":           {0.0125, 1800, 900, true},
		"Gy cm2 for dGy cm2, / 10":    {12.5, 1800, 900, true},
		"Gy for mGy of entrance dose": {1250, 1800, 0.9, true},
		"no beam":                     {0, 0, 0, false},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			totals, found := performed.Announced{
				AreaDoseProduct: quantity.Some(tt.area), FluoroscopyTime: quantity.Some(tt.seconds), EntranceDose: quantity.Some(tt.entrance),
			}.Totals()
			assert.Equal(t, tt.suspect, totals.Suspicion.Has(procedure.SuspectKAP))
			assert.Equal(t, tt.suspect, len(found) > 0)
			assert.True(t, totals.KAP.Present())
		})
	}
	totals, found := performed.Announced{AreaDoseProduct: quantity.Some(math.NaN()), EntranceDose: quantity.Some(-1.0)}.Totals()
	assert.True(t, totals.IsZero())
	assert.Len(t, found, 2)
}
