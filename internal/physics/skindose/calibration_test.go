package skindose_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

func TestCalibrationFactor(t *testing.T) {
	factor := procedure.Factor{Value: 1.2, Uncertainty: 2.5, From: "2026-01-01", Until: "2026-12-31"}
	with := func(change func(*procedure.DeviceProfile, *procedure.Factor)) procedure.DeviceProfile {
		profile, f := known(), factor
		if change != nil {
			change(&profile, &f)
		}
		profile.KermaFactor = some(f)
		return profile
	}
	tests := map[string]struct {
		profile procedure.DeviceProfile
		want    float64 // times the estimate without
		percent quantity.Percent
		words   string
	}{
		"none":               {known(), 1, 20, "no calibration factor on file"},
		"display checked":    {func() procedure.DeviceProfile { p := known(); p.Meter = procedure.MeterChecked; return p }(), 1, 8, "as it is"},
		"signed and in date": {with(nil), 1.2, 3, "signed calibration factor 1.20"},
		"first day":          {with(func(_ *procedure.DeviceProfile, f *procedure.Factor) { f.From = "2026-03-10" }), 1.2, 3, "signed"},
		"last day":           {with(func(_ *procedure.DeviceProfile, f *procedure.Factor) { f.Until = "2026-03-10" }), 1.2, 3, "signed"},
		"not yet":            {with(func(_ *procedure.DeviceProfile, f *procedure.Factor) { f.From = "2026-03-11" }), 1, 20, "holds from"},
		"no longer":          {with(func(_ *procedure.DeviceProfile, f *procedure.Factor) { f.Until = "2026-03-09" }), 1, 20, "ended on"},
		"not signed":         {with(func(p *procedure.DeviceProfile, _ *procedure.Factor) { p.SignedBy = "" }), 1, 20, "not signed"},
		"no number":          {with(func(_ *procedure.DeviceProfile, f *procedure.Factor) { f.Value = math.NaN() }), 1, 20, "not a positive number"},
		"less certain":       {with(func(_ *procedure.DeviceProfile, f *procedure.Factor) { f.Uncertainty = 5 }), 1.2, 5, "signed"},
	}
	p := single(2, 2, frontal(2))
	without := value(t, skindose.Evaluate(input(p, known())).Value)
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			e := skindose.Evaluate(input(p, tt.profile))
			assert.InEpsilon(t, tt.want*without, value(t, e.Value), 1e-12)
			assert.Equal(t, tt.percent, e.Parts[0].Percent)
			said(t, e, tt.words)
			totals := skindose.Evaluate(input(totalsOnly(2, 0), tt.profile))
			assert.InEpsilon(t, tt.want*2.2, value(t, totals.Value), 1e-12)
		})
	}
	undated := p
	undated.Start = procedure.Moment{}
	said(t, skindose.Evaluate(input(undated, with(nil))), "day of the procedure is not known")
}

func TestFactorBehindTheTableReplacesTheTable(t *testing.T) {
	profile := known()
	profile.KermaFactor = some(procedure.Factor{Value: 0.8, IncludesTable: true})
	p := single(2, 2, frontal(2))
	got := skindose.Evaluate(input(p, profile))
	bare := known()
	bare.Layers = []procedure.TableLayer{{Material: "foam", Mass: 0}} // a table that weighs nothing
	bare.LayersKnown = procedure.TableMeasured
	want := skindose.Evaluate(input(p, bare))
	assert.InEpsilon(t, 0.8*value(t, want.Value), value(t, got.Value), 1e-9)
	said(t, got, "table attenuation and scatter are not applied again")
	assert.Equal(t, quantity.Percent(6), got.Parts[2].Percent)
	assert.InDelta(t, 2.2, value(t, skindose.Evaluate(input(totalsOnly(2, 0), profile)).Value), 1e-12, "ratios of totals have the table in them")
}

func TestReportsOwnFactorIsNeverApplied(t *testing.T) {
	p := single(2, 2, frontal(2))
	want := skindose.Evaluate(input(p, known()))
	p.Totals[0].Calibrations = []procedure.Calibration{{Factor: some(1.5)}}
	assert.Equal(t, bits(want), bits(skindose.Evaluate(input(p, known()))))
}
