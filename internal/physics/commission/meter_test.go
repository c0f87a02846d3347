package commission_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/physics/commission"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// metered adds events 12 and on with readings of ratio x true to displayed, the chamber at the distances given, the field
// 120 x 100 mm at the reference point.
func metered(report *procedure.Report, record *commission.Record, at []float64, behind bool, ratio func(i int) float64) {
	for i, distance := range at {
		e := plainEquipment().expose(commission.Exposure{Event: len(report.Events) + 1, Direction: procedure.HeadFirst}, still, still)
		e.RefKerma, e.KAP = quantity.Some(quantity.Gray(0.010)), quantity.Some(quantity.GraySquareMetre(0.010*0.12*0.10))
		report.Events = append(report.Events, e)
		grown := distance / 635
		record.Readings = append(record.Readings, commission.Reading{
			Event: len(report.Events), Kerma: quantity.Gray(0.010 * ratio(i) / grown / grown), Distance: quantity.Millimetre(distance), BehindTable: behind,
			Width: mm(120 * grown), Height: mm(100 * grown),
		})
	}
	record.Dosimeter.Calibration = quantity.Some[quantity.Percent](3)
}

func always(v float64) func(int) float64 { return func(int) float64 { return v } }

// A display that is off by one factor gives that factor, wherever the chamber stood, for both quantities.
func TestFactorIsFound(t *testing.T) {
	blank := filled(t)
	rapid.Check(t, func(t *rapid.T) {
		truth := rapid.Float64Range(0.5, 2).Draw(t, "truth")
		n := rapid.IntRange(3, 6).Draw(t, "readings")
		var at []float64
		for range n {
			at = append(at, rapid.Float64Range(400, 1000).Draw(t, "distance"))
		}
		record := blank
		report := plainEquipment().reported(record.Exposures, still, still)
		metered(report, &record, at, rapid.Bool().Draw(t, "behind"), always(truth))
		r := check(t, report, record)
		for _, m := range []commission.Meter{r.Kerma, r.KAP} {
			f, ok := m.Factor.Get()
			require.True(t, ok, m.Says)
			require.InDelta(t, truth, f.Value, 0.0005001) // printed to a thousandth
			require.InDelta(t, 0, float64(m.Spread), 1e-9)
		}
	})
}

// The budget by hand: certificate 3 % (k=2), response within 5 %, three ratios 0.90, 0.93, 0.96, 5 mm of 500 mm, 2 mm on 79 mm.
func TestBudget(t *testing.T) {
	record := filled(t)
	report := plainEquipment().reported(record.Exposures, still, still)
	metered(report, &record, []float64{635, 500, 700}, false, func(i int) float64 { return []float64{0.90, 0.93, 0.96}[i] })
	r := check(t, report, record)
	const student = 4.5266 // two-sided 95.45 % for 2 degrees of freedom; JCGM 100:2008 table G.2 has 4.53
	spread := 100 * 0.03 / 0.93 * math.Sqrt(4.0/3) * student / 2
	kerma := math.Sqrt(1.5*1.5 + 25.0/3 + spread*spread + 2*2)
	f, ok := r.Kerma.Factor.Get()
	require.True(t, ok)
	assert.InDelta(t, 0.93, f.Value, 1e-12)
	assert.InDelta(t, 2*kerma, float64(r.Kerma.Expanded), 0.001)
	assert.GreaterOrEqual(t, float64(f.Uncertainty), kerma)
	assert.InDelta(t, kerma, float64(f.Uncertainty), 0.1, "rounded up to a tenth")
	assert.Equal(t, []string{"2026-11-20", "2027-11-19"}, []string{f.From, f.Until})
	assert.False(t, f.IncludesTable)
	assert.Equal(t, []int{12, 13, 14}, r.Kerma.Events)
	side := 100 * math.Sqrt2 * 2 / (100 * 500.0 / 635)
	kap := math.Sqrt(1.5*1.5 + 25.0/3 + spread*spread + side*side + 3*3)
	assert.InDelta(t, 2*kap, float64(r.KAP.Expanded), 0.001)
	for _, c := range append(r.Kerma.Budget, r.KAP.Budget...) {
		assert.NotEmpty(t, c.Source, c.Name)
	}
	assert.Equal(t, procedure.MeterChecked, r.Profile.Meter)
	assert.Equal(t, r.Kerma.Factor, r.Profile.KermaFactor)
}

func TestReadingsThatGiveNoFactor(t *testing.T) {
	three := []float64{635, 635, 635}
	tests := map[string]struct {
		make  func(*procedure.Report, *commission.Record)
		state commission.State
		says  string
	}{
		"none": {func(*procedure.Report, *commission.Record) {}, commission.Open, "no reading"},
		"two":  {func(p *procedure.Report, r *commission.Record) { metered(p, r, three[:2], false, always(1)) }, commission.Open, "at least 3"},
		"two of each kind": {func(p *procedure.Report, r *commission.Record) {
			metered(p, r, three[:2], false, always(1))
			metered(p, r, three[:2], true, always(0.8))
		}, commission.Open, "2 readings without the table and 2 behind it"},
		"no certificate": {func(p *procedure.Report, r *commission.Record) {
			metered(p, r, three, false, always(1))
			r.Dosimeter.Calibration = quantity.None[quantity.Percent]()
		}, commission.Open, "without calibration_percent"},
		"too far apart": {func(p *procedure.Report, r *commission.Record) {
			metered(p, r, three, false, func(i int) float64 { return 1 + 0.13*float64(i) })
		}, commission.Contradicted, "no one factor"},
		"a broken display": {func(p *procedure.Report, r *commission.Record) {
			metered(p, r, three, false, always(10))
		}, commission.Contradicted, "have the display seen to"},
		"nothing displayed": {func(p *procedure.Report, r *commission.Record) {
			metered(p, r, three, false, always(1))
			for i := range p.Events {
				p.Events[i].RefKerma = quantity.None[quantity.Gray]()
			}
		}, commission.Open, "0 readings without the table"},
		"a display that is not believed": {func(p *procedure.Report, r *commission.Record) {
			metered(p, r, three, false, always(1))
			for i := range p.Events {
				p.Events[i].Suspicion = procedure.SuspectKerma
			}
		}, commission.Open, "0 readings without the table"},
		"no reference point": {func(p *procedure.Report, r *commission.Record) {
			metered(p, r, three, false, always(1))
			for i := range p.Events {
				p.Events[i].Mechanics.SourceToReference, p.Events[i].RefPoint = quantity.None[quantity.Millimetre](), procedure.ReferencePoint{}
			}
		}, commission.Open, "0 readings without the table"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			record := filled(t)
			report := plainEquipment().reported(record.Exposures, still, still)
			tt.make(report, &record)
			r := check(t, report, record)
			assert.Equal(t, tt.state, r.Kerma.State)
			assert.Contains(t, r.Kerma.Says, tt.says)
			assert.Equal(t, quantity.None[procedure.Factor](), r.Profile.KermaFactor)
			assert.Equal(t, procedure.MeterUnchecked, r.Profile.Meter)
		})
	}
}

// The reference point may be told by its code alone, and readings behind the table give what the table lets through.
func TestBothKindsOfReadings(t *testing.T) {
	record := filled(t)
	report := plainEquipment().reported(record.Exposures, still, still)
	metered(report, &record, []float64{600, 600, 600}, false, always(0.95))
	metered(report, &record, []float64{600, 600, 600}, true, always(0.76))
	for i := range report.Events {
		report.Events[i].Mechanics.SourceToReference = quantity.None[quantity.Millimetre]()
	}
	r := check(t, report, record)
	f, ok := r.Kerma.Factor.Get()
	require.True(t, ok)
	assert.InDelta(t, 0.95, f.Value, 1e-9)
	assert.False(t, f.IncludesTable)
	assert.Contains(t, r.Notes[0], "are 0.800 of those without")
	only := record
	only.Readings = record.Readings[3:]
	f, ok = check(t, report, only).Kerma.Factor.Get()
	require.True(t, ok)
	assert.True(t, f.IncludesTable)
	assert.InDelta(t, 0.76, f.Value, 1e-9)
}

func TestADisplayBeyondItsAllowance(t *testing.T) {
	for ratio, want := range map[float64]bool{0.75: false, 0.73: true, 1.5: false, 1.56: true} { // displayed over measured 1.33, 1.37, 0.67, 0.64
		record := filled(t)
		report := plainEquipment().reported(record.Exposures, still, still)
		metered(report, &record, []float64{635, 635, 635}, false, always(ratio))
		r := check(t, report, record)
		assert.Equal(t, want, len(r.Notes) > 0, "%v: %v", ratio, r.Notes)
	}
}

// A profile has one factor for all planes: one tube of two gives none.
func TestOnePlaneOfTwoDraftsNoFactor(t *testing.T) {
	record := filled(t)
	report := plainEquipment().reported(record.Exposures, still, still)
	metered(report, &record, []float64{635, 635, 635}, false, always(0.9))
	record.Plane = procedure.PlaneB
	for i := range report.Events {
		report.Events[i].Plane = procedure.PlaneB
	}
	before := quantity.Some(procedure.Factor{Value: 1.05, Uncertainty: 3})
	r, err := commission.Check(report, record, procedure.DeviceProfile{KermaFactor: before})
	require.NoError(t, err)
	assert.Equal(t, commission.Shown, r.Kerma.State)
	assert.Equal(t, before, r.Profile.KermaFactor)
	assert.Equal(t, procedure.MeterUnchecked, r.Profile.Meter)
	assert.Equal(t, procedure.AxisTableDown, r.Profile.Height.Meaning, "the table is one")
	assert.Contains(t, r.Changes[len(r.Changes)-1], "shown of plane B alone")
}
