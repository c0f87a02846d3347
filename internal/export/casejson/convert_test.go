package casejson_test

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/export/casejson"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

func TestNoPatientIsNamed(t *testing.T) {
	for i, a := range scenario() {
		text, err := casejson.Marshal(a)
		require.NoError(t, err)
		p := demo.Cases()[i].Report.Patient
		for _, secret := range []string{p.ID, p.Name, p.BirthDate, p.Issuer} {
			if secret != "" {
				assert.NotContains(t, string(text), secret)
			}
		}
	}
}

func TestUnitsAreThoseOfTheNames(t *testing.T) {
	a := assessment.Assessment{
		Dose: procedure.CaseDose{
			LeastKerma: quantity.Some(quantity.Gray(1.25)), KermaMissing: []string{"plane B"},
			KAP: quantity.Some(quantity.GraySquareMetre(0.0125)), LeastKAP: quantity.Some(quantity.GraySquareMetre(0.0125)),
			FluoroTime: quantity.Some(quantity.Second(90)), Suspicion: procedure.SuspectKAP | procedure.SuspectAngle,
		},
		Facts: procedure.Facts{Height: quantity.Some(quantity.Millimetre(1800)), Posture: procedure.Prone},
	}
	got := casejson.Of(a)
	assert.False(t, got.Dose.KermaGy.Present(), "a sum that lacks a plane is absent, not what is known")
	assert.Equal(t, quantity.Some(1.25), got.Dose.KermaLeastGy)
	assert.Equal(t, []string{"plane B"}, got.Dose.KermaMissing)
	assert.InDelta(t, 125, got.Dose.KAPGycm2.Or(0), 1e-9, "1 Gy m2 is 10,000 Gy cm2")
	assert.Equal(t, quantity.Some(1.5), got.Dose.FluoroscopyMin)
	assert.Equal(t, []string{"kap"}, got.Dose.NotBelieved)
	assert.Equal(t, quantity.Some(180.0), got.Procedure.Patient.HeightCm)
	assert.Equal(t, []string{"height", "posture"}, got.Procedure.Given)
}

func TestAbsentIsNullAndNeverZero(t *testing.T) {
	text, err := json.Marshal(casejson.Of(assessment.Assessment{}))
	require.NoError(t, err)
	for _, field := range []string{"kerma_gy", "kap_gy_cm2", "fluoroscopy_min", "value_gy", "low_gy", "high_gy", "value_msv", "age_years", "height_cm", "weight_kg", "field_at_skin_cm2"} {
		assert.Contains(t, string(text), `"`+field+`":null`)
	}
	assert.NotContains(t, strings.ReplaceAll(string(text), `"field_at_skin_cm2":null`, ""), `[null]`)
}

func TestLevelsAreInTheUnitBesideThem(t *testing.T) {
	e := level.Evaluate(level.Default(), level.Input{Dose: procedure.CaseDose{
		KAP: quantity.Some(quantity.GraySquareMetre(0.06)), LeastKAP: quantity.Some(quantity.GraySquareMetre(0.06)),
		Kerma: quantity.Some(quantity.Gray(4.5)), LeastKerma: quantity.Some(quantity.Gray(4.5)),
	}})
	found := map[string]casejson.Result{}
	for _, r := range casejson.LevelsOf(e).Results {
		found[r.Scheme+"/"+r.ID] = r
	}
	kap := found["ncrp168/kap"]
	assert.Equal(t, "Gy.cm2", kap.Unit)
	// 1e-9 relative: one division by 1e-4.
	assert.InEpsilon(t, 600, kap.Value.Or(0), 1e-9)
	assert.InEpsilon(t, 500, kap.Level, 1e-9)
	assert.InEpsilon(t, 100, kap.Margin.Or(0), 1e-9)
	assert.Equal(t, []float64{3, 4}, found["mppg12a/notify"].Passed)
	assert.Equal(t, "unknown", found["ncrp168/psd"].State)
	assert.False(t, found["ncrp168/psd"].Value.Present())
}

func TestSumOf(t *testing.T) {
	var all []assessment.Delivered
	for _, a := range scenario() {
		if a.Procedure.Patient.ID == "SYN-0001" {
			all = append(all, a.Delivered())
		}
	}
	require.Len(t, all, 2, "the two stages of one repair")
	sum := assessment.Default().Sum(all, 60, "2026-10-27")
	got := casejson.SumOf("patient 2", sum)
	assert.Equal(t, 2, got.Procedures)
	assert.Equal(t, 2, got.FluoroscopyFrom)
	assert.Equal(t, "map", got.PeakSkinMethod)
	assert.Greater(t, got.PeakSkinHighGy.Or(0), got.PeakSkinGy.Or(0))
	assert.Greater(t, got.EffectiveHighMSv.Or(0), got.EffectiveMSv.Or(0))
	assert.InDelta(t, float64(sum.Kerma.Value.Or(0)), got.KermaGy.Or(0), 0)
}
