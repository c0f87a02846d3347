package effective_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/effective"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// TestImpliedCoefficients takes pairs of kerma-area product and effective dose printed in one paper, from which the
// coefficient was worked out. With several pairs to a coefficient they test arithmetic, units and rounding; they say
// nothing about physics.
func TestImpliedCoefficients(t *testing.T) {
	tests := map[string]struct {
		coefficient effective.Coefficient
		kap, want   []float64 // Gy cm2, mSv
		tol         float64
	}{
		// Source: McParland 1998, Br J Radiol 71:175, abdominal procedures; pairs read. Printed to 0.1: half of it and rounding.
		"C01 abdomen": {0.16, []float64{24.2, 27.9, 74.7, 347}, []float64{3.9, 4.5, 12.0, 55.5}, 0.06},
		// Source: McParland 1998, cerebral angiography; pair read.
		"C02 head": {0.10, []float64{69.6}, []float64{7.0}, 0.06},
		// Source: Efthymiou et al. 2021, Radiat Prot Dosim, EVAR: mean, median, maximum, minimum; pairs read.
		"C03 aorta": {0.17, []float64{36.6, 25.6, 167.8, 2.0}, []float64{6.2, 4.4, 28.5, 0.3}, 0.06},
		// Source: Padovani et al. 2008, Radiat Prot Dosim 129:104, European reference levels; pairs read, printed as integers.
		"C04 cardiac": {0.18, []float64{45, 85, 35}, []float64{8, 15, 6}, 0.5},
		// Source: Vetter et al. 2004, Eur Radiol 14:842, uterine artery embolization, ICRP 60; pairs read, printed as integers.
		"C05 female pelvis": {0.573, []float64{59.9, 23.4, 8.8, 317.5}, []float64{34, 13, 5, 182}, 0.5},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			for i, kap := range tt.kap {
				got := tt.coefficient.Of(quantity.GraySquareMetre(kap) * quantity.GraySquareCentimetre).MSv()
				assert.InDelta(t, tt.want[i], got, tt.tol, "%v Gy cm2", kap)
			}
		})
	}
}

// TestMediansDoNotMultiply (C06) keeps a trap in sight: the median dose of patients is not the coefficient times their
// median kerma-area product. The first pair agrees by chance, the second does not and must not be made to.
// Source: Brambilla et al. 2017, Physica Medica: coronary angiography and PCI; read.
func TestMediansDoNotMultiply(t *testing.T) {
	angiography := effective.Coefficient(0.30).Of(23.2 * quantity.GraySquareCentimetre).MSv()
	intervention := effective.Coefficient(0.33).Of(56.8 * quantity.GraySquareCentimetre).MSv()
	assert.InDelta(t, 6.9, angiography, 0.1)
	assert.InDelta(t, 1.3, 20.0-intervention, 0.05, "the printed median is 20.0 mSv: the product has to stay 1.3 below")
}

// TestWeights (C07, C08) is the definition of effective dose.
// Source: weights as in Br J Radiol 83:1042 (2010), table 1; read.
func TestWeights(t *testing.T) {
	only := func(set effective.WeightSet, tissues ...effective.Tissue) map[effective.Tissue]quantity.Gray {
		doses := map[effective.Tissue]quantity.Gray{}
		for _, w := range effective.Weights(set) {
			doses[w.Tissue] = 0
		}
		for _, tissue := range tissues {
			doses[tissue] = 10 * quantity.MilliGray
		}
		return doses
	}
	all := func(set effective.WeightSet) []effective.Tissue {
		var out []effective.Tissue
		for _, w := range effective.Weights(set) {
			out = append(out, w.Tissue)
		}
		return out
	}
	tests := map[string]struct {
		set     effective.WeightSet
		tissues []effective.Tissue
		want    float64 // mSv
	}{
		"C07 all organs alike, ICRP 60":  {effective.ICRP60, all(effective.ICRP60), 10},
		"C07 all organs alike, ICRP 103": {effective.ICRP103, all(effective.ICRP103), 10},
		"C08 lung, ICRP 60":              {effective.ICRP60, []effective.Tissue{effective.Lung}, 1.2},
		"C08 lung, ICRP 103":             {effective.ICRP103, []effective.Tissue{effective.Lung}, 1.2},
		"C08 gonads, ICRP 60":            {effective.ICRP60, []effective.Tissue{effective.Gonads}, 2.0},
		"C08 gonads, ICRP 103":           {effective.ICRP103, []effective.Tissue{effective.Gonads}, 0.8},
		"breast, ICRP 103":               {effective.ICRP103, []effective.Tissue{effective.Breast}, 1.2},
		"brain, ICRP 103":                {effective.ICRP103, []effective.Tissue{effective.Brain}, 0.1},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, err := effective.Weighted(only(tt.set, tt.tissues...), tt.set)
			require.NoError(t, err)
			assert.InDelta(t, tt.want, got.MSv(), 1e-9) // exact but for the last bits of a sum of 15
		})
	}
}

// TestWeightsSum is exact: hundredths are integers.
func TestWeightsSum(t *testing.T) {
	for _, set := range []effective.WeightSet{effective.ICRP60, effective.ICRP103} {
		sum := 0
		for _, w := range effective.Weights(set) {
			sum += w.Percent
		}
		assert.Equal(t, 100, sum, set)
	}
	assert.Empty(t, effective.Weights(effective.WeightsUnknown))
}

func TestWeightedRefuses(t *testing.T) {
	_, err := effective.Weighted(map[effective.Tissue]quantity.Gray{effective.Lung: 1}, effective.WeightsUnknown)
	require.ErrorContains(t, err, "want icrp60 or icrp103")
	_, err = effective.Weighted(map[effective.Tissue]quantity.Gray{effective.Lung: 1}, effective.ICRP103)
	require.ErrorContains(t, err, "no dose for gonads, red bone marrow, colon, stomach")
	assert.NotContains(t, err.Error(), "lung")
}

// TestCopper (C09) wants the published coefficients at the published thicknesses, and in between nothing odd.
// Source: Vano et al. 2019, Physica Medica, event-level coefficients by added copper; read.
func TestCopper(t *testing.T) {
	tests := map[string]struct {
		copper quantity.Millimetre
		want   float64 // mSv at 100 Gy cm2
	}{
		"C09 none":                    {0, 16},
		"C09 0.1 mm":                  {0.1, 27},
		"C09 0.4 mm":                  {0.4, 34},
		"C09 0.9 mm":                  {0.9, 40},
		"half way from 0.1 to 0.4 mm": {0.25, 30.5},
		"thicker than published":      {2, 40},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			e := effective.Dose(effective.Input{Region: "cardiac", Procedure: procedure.Procedure{Events: []procedure.Event{event(100, tt.copper)}}})
			value, ok := e.Value.Get()
			require.True(t, ok, e.Reason)
			assert.InDelta(t, tt.want, value.MSv(), 0.1)
			assert.Equal(t, effective.ICRP103, e.Parts[0].Weights)
		})
	}
}

// TestChild (C24) wants the published coefficients at the published ages, and between them a steady fall.
// Source: Karambatsakidou et al. 2009, Br J Radiol 82:748; read.
func TestChild(t *testing.T) {
	dose := func(age float64) float64 {
		e := effective.Dose(effective.Input{
			Region: "cardiac", Facts: procedure.Facts{AgeYears: quantity.Some(age)},
			Procedure: procedure.Procedure{Events: []procedure.Event{event(1, 0.4)}},
		})
		value, ok := e.Value.Get()
		require.True(t, ok, e.Reason)
		assert.Equal(t, effective.ICRP60, e.Parts[0].Weights)
		return value.MSv()
	}
	for age, want := range map[float64]float64{0: 3.7, 1: 1.9, 5: 1.0, 10: 0.6, 15: 0.4, 15.99: 0.4} {
		assert.InDelta(t, want, dose(age), 0.01, "C24 at %v years", age)
	}
	assert.InDelta(t, math.Sqrt(1.0*1.9), dose(3), 1e-12, "half way on the scale of logarithms is the geometric mean")
	for age := 0.25; age <= 15; age += 0.25 {
		assert.Less(t, dose(age), dose(age-0.25), "at %v years", age)
	}
}

// TestUnits (C25). Source: arithmetic; the last pair stands in a published example of a dose summary in HL7 FHIR.
func TestUnits(t *testing.T) {
	want, err := quantity.ParseUnit("Gy.cm2")
	require.NoError(t, err)
	tests := map[string]struct {
		number float64
		code   string
		want   float64
	}{
		"C25 Gy m2":   {1, "Gy.m2", 10000},
		"C25 uGy m2":  {93, "uGy.m2", 0.93},
		"C25 mGy cm2": {13639, "mGy.cm2", 13.639},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			unit, err := quantity.ParseUnit(tt.code)
			require.NoError(t, err)
			got, err := unit.Convert(tt.number, want)
			require.NoError(t, err)
			assert.InDelta(t, tt.want, got, 1e-9)
			canonical, err := quantity.ParseUnit("Gy.m2")
			require.NoError(t, err)
			inside, err := unit.Convert(tt.number, canonical)
			require.NoError(t, err)
			assert.InDelta(t, tt.want, quantity.GraySquareMetre(inside).Gycm2(), 1e-9)
		})
	}
}

// event is one of plane "single" with a kerma-area product in Gy cm2 and a flat copper filter.
func event(gycm2 float64, copper quantity.Millimetre) procedure.Event {
	return procedure.Event{
		Plane: procedure.PlaneSingle, KAP: quantity.Some(quantity.GraySquareMetre(gycm2) * quantity.GraySquareCentimetre),
		Filters: []procedure.Filter{{Type: procedure.FilterFlat, Metal: procedure.Copper, Min: quantity.Some(copper), Max: quantity.Some(copper)}},
	}
}
