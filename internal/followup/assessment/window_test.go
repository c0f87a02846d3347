package assessment_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// gave is a procedure of a day known by its kerma-area product and the field at the skin; 0 is an unknown field.
func gave(day string, gycm2, cm2 float64) assessment.Delivered {
	kap := quantity.Some(quantity.GraySquareMetre(gycm2) * quantity.GraySquareCentimetre)
	d := assessment.Delivered{LocalDate: day, Dose: procedure.CaseDose{KAP: kap, LeastKAP: kap}}
	if cm2 > 0 {
		d.PSD.FieldAtSkin = quantity.Some(quantity.SquareMetre(cm2) * quantity.SquareCentimetre)
	}
	return d
}

// The level of 500 Gy cm2 for 100 cm2 scales with the field of the sum, in which each product counts over its own field.
func TestFieldOfAWindow(t *testing.T) {
	tests := map[string]struct {
		all  []assessment.Delivered
		want float64 // level of kerma-area product in Gy cm2
	}{
		"one field":          {[]assessment.Delivered{gave("2026-09-01", 200, 50), gave("2026-09-02", 100, 50)}, 250},
		"two fields":         {[]assessment.Delivered{gave("2026-09-01", 100, 50), gave("2026-09-02", 100, 200)}, 500 * 80 / 100.0}, // 200/(2+0.5) = 80 cm2
		"no field":           {[]assessment.Delivered{gave("2026-09-01", 100, 0), gave("2026-09-02", 100, 0)}, 500},
		"one field unknown":  {[]assessment.Delivered{gave("2026-09-01", 100, 50), gave("2026-09-02", 200, 0)}, 500 * 75 / 100.0}, // 300/(2+2) = 75 cm2
		"nothing in one":     {[]assessment.Delivered{gave("2026-09-01", 0, 50), gave("2026-09-02", 200, 200)}, 1000},
		"alone as in a case": {[]assessment.Delivered{gave("2026-09-01", 260, 50)}, 250},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			s := assessment.Default().Sum(tt.all, 60, "2026-09-02")
			for _, r := range s.Levels.Results {
				if r.Row.Quantity == level.KAP {
					assert.InEpsilon(t, tt.want, quantity.GraySquareMetre(r.Level).Gycm2(), 1e-9)
				}
			}
		})
	}
	s := assessment.Default().Sum([]assessment.Delivered{gave("2026-09-01", 260, 50), gave("2026-09-02", 1, 400)}, 60, "2026-09-02")
	assert.Equal(t, level.Reached, s.Levels.State, "what reached a level alone reaches it with more")
}

// A procedure without a date may lie in any window, so it counts in each and that is said.
func TestProceduresWithoutADateCount(t *testing.T) {
	m := assessment.Default()
	s := m.Sum([]assessment.Delivered{gave("", 450, 0), gave("2026-09-01", 60, 0)}, 60, "2026-09-02")
	assert.Equal(t, 2, s.Procedures)
	assert.Equal(t, level.Reached, s.Levels.State)
	assert.Contains(t, s.Levels.Notes, "1 procedures without a date are counted: they may lie in this window")
}

func TestEmptyWindow(t *testing.T) {
	s := assessment.Default().Sum([]assessment.Delivered{gave("2026-01-01", 900, 0)}, 60, "2026-09-02")
	assert.Zero(t, s.Procedures)
	assert.Equal(t, level.NoFlag, s.Levels.State)
	assert.Equal(t, []string{"no procedure of a patient in this window"}, s.Levels.Notes)
	assert.Equal(t, skindose.MethodNone, s.SkinDose.Method)
}
