package rdsr_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
)

// The physics that numbers of one event owe one another. Each bound has a row on either side.
func TestSanityRelations(t *testing.T) {
	clean := func(t *testing.T, r *procedure.Report) {
		t.Helper()
		assert.Zero(t, r.Events[0].Suspicion)
		assert.Empty(t, r.Findings)
	}
	suspect := func(bit procedure.Suspicion) func(*testing.T, *procedure.Report) {
		return func(t *testing.T, r *procedure.Report) {
			t.Helper()
			assert.True(t, r.Events[0].Suspicion.Has(bit))
		}
	}
	to := func(value, concept string) func(*dicomio.DataSet) {
		return func(set *dicomio.DataSet) { number(set, value, "", event, concept) }
	}
	// qualityControl is one continuous event of 10 s; singlePlane has 150 pulses of 8 ms at 15/s and 90 mA.
	withExposure := func(value string) func(*dicomio.DataSet) {
		return func(set *dicomio.DataSet) { add(set, numItem("113736", value, "uA.s"), event) }
	}
	fieldless := func(value string) func(*dicomio.DataSet) {
		return func(set *dicomio.DataSet) {
			for _, concept := range []string{"113790", "113788", "113789"} {
				without(set, event, concept)
			}
			for _, concept := range []string{"113722", "113725", "113726", "113728", "113727", "113729"} {
				without(set, totals, concept)
			}
			number(set, "0.01", "", event, kerma)
			number(set, value, "", event, area)
		}
	}
	run(t, map[string]quirk{
		"KAP over kerma of 1000 cm2":   {change: fieldless("0.001"), findings: []string{"reduced kap-kerma-ratio"}, check: func(t *testing.T, r *procedure.Report) { assert.Zero(t, r.Events[0].Suspicion) }},
		"KAP over kerma of 1001 cm2":   {change: fieldless("0.001001"), findings: []string{"suspect kap-kerma-ratio"}, check: suspect(procedure.SuspectField)},
		"KAP over kerma of 500 cm2":    {change: fieldless("0.0005"), check: func(t *testing.T, r *procedure.Report) { assert.NotContains(t, rulesOf(r), "reduced kap-kerma-ratio") }},
		"KAP over kerma of 9.9 cm2":    {change: fieldless("0.0000099"), findings: []string{"reduced kap-kerma-ratio"}},
		"KAP over kerma of 0.99 cm2":   {change: fieldless("0.00000099"), findings: []string{"suspect kap-kerma-ratio"}, check: suspect(procedure.SuspectKAP)},
		"current and time agree":       {change: withExposure("720"), check: clean},
		"current and time disagree":    {change: withExposure("900"), findings: []string{"reduced current-time"}},
		"pulses and width disagree":    {change: to("12", "113793"), findings: []string{"reduced pulse-time"}},
		"rate and pulses disagree":     {change: to("7.5", "113791"), findings: []string{"reduced pulse-rate"}},
		"rate and pulses within 10 %":  {change: to("14.2", "113791"), check: clean},
		"tube voltage of 40 kV":        {change: to("40", "113733"), check: clean},
		"tube voltage of 39 kV":        {change: to("39", "113733"), findings: []string{"suspect voltage-range"}, check: suspect(procedure.SuspectVoltage)},
		"tube voltage of 150 kV":       {change: to("150", "113733"), check: clean},
		"tube voltage of 151 kV":       {change: to("151", "113733"), findings: []string{"suspect voltage-range"}, check: suspect(procedure.SuspectVoltage)},
		"isocentre at 905 mm":          {change: func(set *dicomio.DataSet) { to("905", "113748")(set); to("755", "113737")(set) }, findings: []string{"reduced distance-range"}},
		"fluoroscopy above 3 Gy/min":   {change: kermaAs("0.6"), findings: []string{"reduced kerma-rate"}},
		"fluoroscopy above 60 Gy/min":  {change: kermaAs("11"), findings: []string{"suspect kerma-rate"}, check: suspect(procedure.SuspectKerma)},
		"more than 20 Gy in one event": {change: kermaAs("20.1"), findings: []string{"suspect dose-absurd"}, check: suspect(procedure.SuspectKerma)},
	})
}
