package rdsr_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
)

// The first event of singlePlane has 0.0123 Gy and 0.0123 x 0.04 x 0.36 Gy m2.
const (
	firstKerma = 0.0123
	firstKAP   = firstKerma * 0.04 * 0.36
	// A decimal string carries 9 digits or more of these numbers.
	tolerance = 1e-9
)

func wantKAP(t *testing.T, r *procedure.Report) {
	t.Helper()
	v, ok := r.Events[0].KAP.Get()
	assert.True(t, ok)
	assert.InEpsilon(t, firstKAP, float64(v), tolerance)
	assert.Zero(t, r.Events[0].Suspicion)
}

func wantKerma(t *testing.T, r *procedure.Report) {
	t.Helper()
	v, ok := r.Events[0].RefKerma.Get()
	assert.True(t, ok)
	assert.InEpsilon(t, firstKerma, float64(v), tolerance)
	assert.Zero(t, r.Events[0].Suspicion)
}

// kapAs writes the first event's KAP of 0.000177120 Gy m2 in another unit.
func kapAs(value, unit string) func(*dicomio.DataSet) {
	return func(set *dicomio.DataSet) {
		measured := &element(all(set, event, area)[0], tagMeasured).Items[0]
		drop(measured, tagFloat)
		put(measured, text(tagNumber, "DS", value))
		put(measured, items(tagUnits, codeItem(unit, "UCUM", unit)))
	}
}

func kermaAs(values ...string) func(*dicomio.DataSet) {
	return func(set *dicomio.DataSet) {
		measured := &element(all(set, event, kerma)[0], tagMeasured).Items[0]
		drop(measured, tagFloat)
		put(measured, text(tagNumber, "DS", values...))
	}
}

func TestQuirksOfUnits(t *testing.T) {
	run(t, map[string]quirk{
		"standard units need no Finding": {check: func(t *testing.T, r *procedure.Report) {
			wantKAP(t, r)
			wantKerma(t, r)
			assert.Empty(t, r.Findings)
		}},
		"KAP in dGy.cm2": {change: kapAs("17.712", "dGy.cm2"), findings: []string{"note unit-converted"}, check: wantKAP},
		"KAP in cGy.cm2": {change: kapAs("177.12", "cGy.cm2"), findings: []string{"note unit-converted"}, check: wantKAP},
		"KAP in mGy.cm2": {change: kapAs("1771.2", "mGy.cm2"), findings: []string{"note unit-converted"}, check: wantKAP},
		"KAP in uGy.m2":  {change: kapAs("177.12", "uGy.m2"), findings: []string{"note unit-converted"}, check: wantKAP},
		"Dose (RP) in mGy": {change: func(set *dicomio.DataSet) {
			number(set, "12.3", "mGy", event, kerma)
		}, findings: []string{"note unit-converted"}, check: wantKerma},
		"unit code spelt without dots": {change: kapAs("0.00017712", "Gym2"), findings: []string{"repaired unit-spelling"}, check: wantKAP},
		"unit code and number disagree by 1e4": {
			change:   kapAs("1.7712", "Gy.m2"),
			findings: []string{"suspect kap-kerma-ratio"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.True(t, r.Events[0].Suspicion.Has(procedure.SuspectKAP))
				assert.False(t, r.Events[0].Suspicion.Has(procedure.SuspectKerma), "the field tells that the kerma is right")
				assert.InDelta(t, 1.7712, float64(r.Events[0].KAP.Or(0)), 0, "the number stays in sight")
			},
		},
		"unit code and number disagree by 1e4, field unknown": {
			change: func(set *dicomio.DataSet) {
				kapAs("1.7712", "Gy.m2")(set)
				for _, concept := range []string{"113790", "113788", "113789"} {
					without(set, event, concept)
				}
			},
			findings: []string{"suspect kap-kerma-ratio"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.Equal(t, procedure.SuspectKAP|procedure.SuspectKerma|procedure.SuspectField, r.Events[0].Suspicion)
			},
		},
		"milligray written as gray": {
			change:   kermaAs("12.3"),
			findings: []string{"suspect kap-kerma-ratio", "suspect kerma-rate"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.True(t, r.Events[0].Suspicion.Has(procedure.SuspectKerma))
				assert.InDelta(t, 12.3, float64(r.Events[0].RefKerma.Or(0)), 0, "a flag can still come of it")
			},
		},
		"cm for distances": {
			change:   func(set *dicomio.DataSet) { number(set, "100", "cm", event, "113750") },
			findings: []string{"note unit-converted"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.InDelta(t, 1000, float64(r.Events[0].Mechanics.SourceToDetector.Or(0)), 1e-9)
			},
		},
		"mA.s for exposure": {
			report: qualityControl, change: func(set *dicomio.DataSet) { number(set, "36.5", "mA.s", event, "113736") },
			findings: []string{"note unit-converted"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.InDelta(t, 36.5, float64(r.Events[0].Technique.Exposures[0]), 1e-9)
			},
		},
		"cm2 for field area": {
			change:   func(set *dicomio.DataSet) { number(set, "400", "cm2", event, "113790") },
			findings: []string{"note unit-converted"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.InDelta(t, 0.04, float64(r.Events[0].Field.Area.Or(0)), 1e-12)
			},
		},
		"min for fluoro time": {
			change: func(set *dicomio.DataSet) { number(set, "0.5", "min", totals, "113730") },
			check: func(t *testing.T, r *procedure.Report) {
				assert.InDelta(t, 30, float64(r.Planes[0].FluoroTime.Or(0)), 1e-9)
			},
		},
		"no unit code at a dose": {
			change: func(set *dicomio.DataSet) {
				for _, it := range all(set, event, kerma) {
					drop(&element(it, tagMeasured).Items[0], tagUnits)
				}
			},
			findings: []string{"suspect unit-missing"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.False(t, r.Events[0].RefKerma.Present())
				assert.True(t, r.Events[0].Suspicion.Has(procedure.SuspectKerma))
			},
		},
		"no unit code at a plain number": {
			change: func(set *dicomio.DataSet) {
				for _, it := range all(set, event, "113768") {
					drop(&element(it, tagMeasured).Items[0], tagUnits)
				}
			},
			findings: []string{"note unit-missing"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.InDelta(t, 150, r.Events[0].Technique.Pulses.Or(0), 0)
			},
		},
		"unit of another kind": {
			change:   kapAs("0.000177", "Gy"),
			findings: []string{"suspect unit-other"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.False(t, r.Events[0].KAP.Present())
				assert.True(t, r.Events[0].Suspicion.Has(procedure.SuspectKAP))
			},
		},
	})
}

func TestQuirksOfNumbers(t *testing.T) {
	absent := func(t *testing.T, r *procedure.Report) {
		t.Helper()
		assert.False(t, r.Events[0].RefKerma.Present())
		assert.True(t, r.Events[1].RefKerma.Present())
	}
	voltage := func(t *testing.T, r *procedure.Report) {
		t.Helper()
		assert.Equal(t, []quantity.Kilovolt{78.4}, r.Events[0].Technique.Voltages)
	}
	run(t, map[string]quirk{
		"leading blank":    {change: func(set *dicomio.DataSet) { number(set, " 78.4", "", event, "113733") }, check: voltage},
		"plus sign":        {change: func(set *dicomio.DataSet) { number(set, "+78.4", "", event, "113733") }, check: voltage},
		"exponent":         {change: func(set *dicomio.DataSet) { number(set, "7.84E+01", "", event, "113733") }, check: voltage},
		"decimal comma":    {change: kermaAs("0,0123"), findings: []string{"suspect number-malformed"}, check: absent},
		"NaN":              {change: kermaAs("NaN"), findings: []string{"suspect number-malformed"}, check: absent},
		"Infinity":         {change: kermaAs("Infinity"), findings: []string{"suspect number-malformed"}, check: absent},
		"beyond any float": {change: kermaAs("1e999"), findings: []string{"suspect number-malformed"}, check: absent},
		"Floating Point Value beside the string": {
			change: func(set *dicomio.DataSet) {
				measured := &element(all(set, event, kerma)[0], tagMeasured).Items[0]
				put(measured, text(tagNumber, "DS", "0.012299999999"))
				put(measured, dicomio.Element{Tag: tagFloat, VR: "FD", Values: []string{"0.0123"}, Floats: []float64{firstKerma}})
			},
			check: wantKerma,
		},
		"Floating Point Value that differs": {
			change: func(set *dicomio.DataSet) {
				measured := &element(all(set, event, kerma)[0], tagMeasured).Items[0]
				put(measured, dicomio.Element{Tag: tagFloat, VR: "FD", Values: []string{"12.3"}, Floats: []float64{12.3}})
			},
			findings: []string{"suspect float-differs"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.InDelta(t, 12.3, float64(r.Events[0].RefKerma.Or(0)), 0, "the larger keeps every flag")
				assert.True(t, r.Events[0].Suspicion.Has(procedure.SuspectKerma))
			},
		},
		"several values in one Numeric Value": {
			change: kermaAs("0.0123", "0.0124"), findings: []string{"suspect several-values"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.InDelta(t, 0.0124, float64(r.Events[0].RefKerma.Or(0)), 0, "the larger keeps every flag")
				assert.True(t, r.Events[0].Suspicion.Has(procedure.SuspectKerma))
			},
		},
		"several tube voltages in one Numeric Value": {
			change: func(set *dicomio.DataSet) {
				put(&element(all(set, event, "113733")[0], tagMeasured).Items[0], text(tagNumber, "DS", "70", "74"))
			},
			findings: []string{"repaired several-values"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.Equal(t, []quantity.Kilovolt{70, 74}, r.Events[0].Technique.Voltages)
			},
		},
		"tube voltage once per pulse": {
			change: func(set *dicomio.DataSet) { add(set, numItem("113733", "79", "kV"), event) },
			check: func(t *testing.T, r *procedure.Report) {
				assert.Equal(t, []quantity.Kilovolt{78.4, 79}, r.Events[0].Technique.Voltages)
			},
		},
		"empty measured value with a qualifier": {
			change: func(set *dicomio.DataSet) {
				it := all(set, event, kerma)[0]
				element(it, tagMeasured).Items = nil
				put(it, items(tagQualifier, codeItem("114006", "DCM", "Measurement failure")))
			},
			findings: []string{"note value-absent", "reduced missing"},
			check:    absent,
		},
		"empty measured value without a qualifier": {
			change:   func(set *dicomio.DataSet) { element(all(set, event, kerma)[0], tagMeasured).Items = nil },
			findings: []string{"reduced value-absent"},
			check:    absent,
		},
		"zeros instead of absent values": {
			change: func(set *dicomio.DataSet) {
				for _, concept := range []string{"113733", "113750", "113748", "113737", "113790", "113742"} {
					number(set, "0", "", event, concept)
				}
				for _, concept := range []string{"113751", "113752", "113753"} {
					number(set, "0", "", event, concept)
				}
			},
			findings: []string{"reduced zero-for-absent", "reduced zero-table-position", "reduced missing"},
			check: func(t *testing.T, r *procedure.Report) {
				e := r.Events[0]
				assert.Empty(t, e.Technique.Voltages)
				assert.False(t, e.Mechanics.SourceToDetector.Present())
				assert.False(t, e.Mechanics.SourceToReference.Present())
				assert.False(t, e.Field.Area.Present())
				assert.False(t, e.Technique.Duration.Present())
				assert.False(t, e.Mechanics.TableHeight.Present())
			},
		},
		"dose zero although the tube was on": {
			change:   kermaAs("0"),
			findings: []string{"reduced zero-dose-while-on", "reduced missing"},
			check:    absent,
		},
		"totals zero although there are events": {
			change: func(set *dicomio.DataSet) {
				number(set, "0", "", totals, "113725")
				number(set, "0", "", totals, "113722")
			},
			findings: []string{"reduced zero-total"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.False(t, r.Planes[0].RefKerma.Present())
				assert.False(t, r.Planes[0].KAP.Present())
				assert.True(t, r.Planes[0].FluoroKAP.Present())
			},
		},
		"number written as text": {
			change: func(set *dicomio.DataSet) {
				put(first(set, event, kerma), text(0x0040A040, "CS", "TEXT"))
			},
			findings: []string{"reduced value-type"},
			check:    absent,
		},
	})
}
