package skindose_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// The chain of eq. (6.1) for two beams. Expected values: computed by the project by hand from its own tables, so a
// regression check; the published checks are those of the factors.
func TestWholeChain(t *testing.T) {
	tests := map[string]struct {
		quality   beam.Quality
		kerma     quantity.Gray
		ref, skin quantity.Millimetre
		side      quantity.Millimetre
		table     []beam.Layer
		forward   float64
		tissue    beam.Material
		want      float64 // mGy
	}{
		"P-1 soft tissue": {beam.Quality{Voltage: 80, Aluminium: 3, Copper: 0.3}, 1, 600, 630, 120, []beam.Layer{beam.Sheet(beam.AluminiumMat, 1)}, 1.06, beam.SoftTissue, 1359.9},
		"P-1 water":       {beam.Quality{Voltage: 80, Aluminium: 3, Copper: 0.3}, 1, 600, 630, 120, []beam.Layer{beam.Sheet(beam.AluminiumMat, 1)}, 1.06, beam.Water, 1321.0},
		"P-1 skin":        {beam.Quality{Voltage: 80, Aluminium: 3, Copper: 0.3}, 1, 600, 630, 120, []beam.Layer{beam.Sheet(beam.AluminiumMat, 1)}, 1.06, beam.Skin, 1272.8},
		"P-2 soft tissue": {beam.Quality{Voltage: 70, Aluminium: 2.5}, 0.5, 600, 600, 100, nil, 1, beam.SoftTissue, 690.1},
		"P-2 water":       {beam.Quality{Voltage: 70, Aluminium: 2.5}, 0.5, 600, 600, 100, nil, 1, beam.Water, 666.9},
		"P-2 skin":        {beam.Quality{Voltage: 70, Aluminium: 2.5}, 0.5, 600, 600, 100, nil, 1, beam.Skin, 632.1},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			open, err := beam.New(tt.quality)
			require.NoError(t, err)
			behind := open.Behind(tt.table)
			got, err := skindose.Beamline{
				Transmission: open.Transmission(tt.table, 1), ForwardScatter: tt.forward,
				Backscatter: behind.Scatter().Square(tt.side), Tissue: behind.TissueFactor(tt.tissue),
			}.Dose(tt.kerma, tt.ref, tt.skin)
			require.NoError(t, err)
			assert.InEpsilon(t, tt.want, float64(got/quantity.MilliGray), 0.01) // same tables, the spectrum's grain differs
		})
	}
}

func TestInverseSquare(t *testing.T) {
	tests := map[string]struct {
		ref       quantity.Gray
		toRef     quantity.Millimetre
		toSkin    quantity.Millimetre
		want, tol float64 // mGy
	}{
		// Source: Groningen radiation protection examination, question 41 (read): 0.065 mGy/mAs at 1 m, 250 mAs, at 70 cm.
		"M-1": {0.065 * 250 * quantity.MilliGray, 1000, 700, 33, 0.5},
		// Source: examination cards (read): 0.5 mGy/h at 7.0 ft, 20 min at 3.0 ft.
		"M-2":                                  {0.5 / 3 * quantity.MilliGray, 7 * 304.8, 3 * 304.8, 0.90, 0.01},
		"at the reference point nothing moves": {1, 600, 600, 1000, 0},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, err := skindose.KermaAtSkin(tt.ref, tt.toRef, tt.toSkin)
			require.NoError(t, err)
			assert.InDelta(t, tt.want, float64(got/quantity.MilliGray), tt.tol)
		})
	}
	for _, bad := range [][2]quantity.Millimetre{{0, 600}, {600, 0}, {-1, 600}, {600, -1}} {
		_, err := skindose.KermaAtSkin(1, bad[0], bad[1])
		require.ErrorIs(t, err, skindose.ErrGeometry)
		_, err = skindose.Beamline{Transmission: 1}.Dose(1, bad[0], bad[1])
		require.ErrorIs(t, err, skindose.ErrGeometry)
	}
}

func TestTotalsArithmetic(t *testing.T) {
	const gycm2 = quantity.GraySquareCentimetre
	// M-4. Source: SIR/CIRSE guideline (Stecker 2009) and NCRP 168, paired levels 500 Gy cm2 and 5 Gy at 100 cm2 (memory).
	k, err := skindose.KermaFromKAP(500*gycm2, 100*quantity.SquareCentimetre)
	require.NoError(t, err)
	assert.InDelta(t, 5, float64(k), 1e-12) // exact but for rounding
	_, err = skindose.KermaFromKAP(1, 0)
	require.ErrorIs(t, err, skindose.ErrGeometry)

	// N-1 and N-2. Source: cardiac phantom with dosemeters (abstract read): 3.8 and 8.1 mSv per Gy cm2 reach 2 Sv at 530
	// and 250 Gy cm2, rounded there to tens.
	for per, want := range map[skindose.PerKAP]float64{3.8: 530, 8.1: 250} {
		kap, err := skindose.KAPForDose(2, per*skindose.MilliGrayPerGycm2)
		require.NoError(t, err)
		assert.InDelta(t, want, kap.Gycm2(), 5)
		assert.InDelta(t, 2, float64(skindose.DoseFromKAP(kap, per*skindose.MilliGrayPerGycm2)), 1e-12) // and back
	}
	_, err = skindose.KAPForDose(2, 0)
	require.ErrorIs(t, err, skindose.ErrGeometry)

	// N-3. Source: Kato 2017, Radiat Prot Dosim ncw263 (abstract read): 1.12 times Ka,r in coronary intervention.
	assert.InDelta(t, 2.24, float64(skindose.DoseFromKerma(2.0, 1.12)), 1e-12)
}

// Source: single static beams with focus to isocentre 785 mm, B = 1.45 and the usual table; computed by the project by
// hand with rounded factors (f = 1.06), as peak skin dose per reference air kerma.
func TestSingleStaticBeams(t *testing.T) {
	adult := body.Size{Height: quantity.Some[quantity.Millimetre](1786), Weight: quantity.Some[quantity.Kilogram](73)}
	large := body.Size{Height: quantity.Some[quantity.Millimetre](1750), Weight: quantity.Some[quantity.Kilogram](130)}
	tests := map[string]struct {
		size    body.Size
		primary float64
		down    float64 // mm, how far the body's axis lies below the isocentre
		table   bool
		want    float64
	}{
		"frontal, mid-plane at the isocentre":     {adult, 0, 0, true, 1.24},
		"frontal, back 14 cm below the isocentre": {adult, 0, 40, true, 1.39},
		"lateral, adult":                          {adult, 90, 0, false, 1.82},
		"lateral, 130 kg and 175 cm":              {large, 90, 0, false, 2.35},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b, err := body.New(tt.size, 0.25)
			require.NoError(t, err)
			away := 785 - b.Dimensions.TrunkHalfDepth - tt.down
			if tt.primary == 90 {
				away = 785 - b.Dimensions.TrunkHalfWidth
			}
			s := aimed(0, 1, tt.primary, 0, 350, 100*785/away, 80, 0.3) // 10 by 10 cm at the skin: B = 1.45
			s.Focus = r3.Sub(s.Focus, r3.Vec{Y: tt.down})
			if tt.table {
				s.Table = under(b.Dimensions.TrunkHalfDepth, 350)
			}
			m := irradiate(t, b, s)
			assert.InEpsilon(t, tt.want, float64(m.PeakDose()), 0.02) // f = 1.065 here and two figures there
		})
	}
}

// Source: AJR 2014, PMID 25148168 (abstract read): skin dose per displayed air kerma of frontal beams, 0.8 to 1.6 over
// nine systems.
func TestFrontalRatioLiesInThePublishedBand(t *testing.T) {
	b, err := body.New(body.Size{}, 1)
	require.NoError(t, err)
	var shots []exposure.Shot
	for _, kv := range []float64{60, 80, 100, 120} {
		for _, copper := range []float64{0, 0.1, 0.3, 0.9} {
			for _, field := range []float64{60, 100, 200} {
				s := aimed(0, 1, 0, 0, 350, field, kv, copper)
				s.Table = under(100, 350)
				shots = append(shots, s)
			}
		}
	}
	for _, s := range shots {
		ratio := float64(irradiate(t, b, s).PeakDose())
		assert.GreaterOrEqual(t, ratio, 0.8, "%v", s.Quality)
		assert.LessOrEqual(t, ratio, 1.6, "%v", s.Quality)
	}
}
