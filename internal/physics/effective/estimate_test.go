package effective_test

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/physics/effective"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

const gycm2 = quantity.GraySquareCentimetre

// change makes another event of one.
func change(ev procedure.Event, how func(*procedure.Event)) procedure.Event {
	how(&ev)
	return ev
}

func suspect(ev procedure.Event) procedure.Event {
	return change(ev, func(e *procedure.Event) { e.Suspicion = procedure.SuspectKAP })
}

func without(ev procedure.Event) procedure.Event {
	return change(ev, func(e *procedure.Event) { e.KAP = quantity.None[quantity.GraySquareMetre]() })
}

func on(plane procedure.Plane, ev procedure.Event) procedure.Event {
	return change(ev, func(e *procedure.Event) { e.Plane = plane })
}

func total(plane procedure.Plane, value float64) procedure.PlaneTotal {
	return procedure.PlaneTotal{Plane: plane, KAP: quantity.Some(quantity.GraySquareMetre(value) * gycm2)}
}

var (
	single = procedure.PlaneSingle
	planeA = procedure.PlaneA
	planeB = procedure.PlaneB
)

// TestKAP follows the kerma-area product: abdomen has 0.18 mSv per Gy cm2 with or without copper.
func TestKAP(t *testing.T) {
	partial := func(t procedure.PlaneTotal) procedure.PlaneTotal { t.Partial = procedure.SuspectKAP; return t }
	doubted := func(t procedure.PlaneTotal) procedure.PlaneTotal { t.Suspicion = procedure.SuspectKAP; return t }
	type events = []procedure.Event
	type totals = []procedure.PlaneTotal
	tests := map[string]struct {
		events    events
		totals    totals
		want      float64 // Gy cm2 that the dose stands for; NaN: no estimate
		method    string
		covered   float64 // percent
		says, why string  // in the assumptions and in the reason
	}{
		"events alone":                    {events{event(10, 0), event(20, 0)}, nil, 30, effective.MethodEvents, 100, "", ""},
		"events and their total":          {events{event(10, 0), event(20, 0)}, totals{total(single, 30)}, 30, effective.MethodEvents, 100, "", ""},
		"total alone":                     {nil, totals{total(single, 30)}, 30, effective.MethodTotals, 100, "no events", ""},
		"rest of the total":               {events{event(10, 0), without(event(0, 0))}, totals{total(single, 30)}, 30, effective.MethodMixed, 100, "1 of 2 events have no kerma-area product; what the total has more than the others, 67 %", ""},
		"total with more than events":     {events{event(10, 0)}, totals{total(single, 30)}, 30, effective.MethodMixed, 100, "67 % of the total of kerma-area product is in no event", ""},
		"total with less than events":     {events{event(10, 0)}, totals{total(single, 5)}, 10, effective.MethodEvents, 100, "less than the sum", ""},
		"missing but nothing left":        {events{event(10, 0), without(event(0, 0))}, totals{total(single, 10)}, 10, effective.MethodEvents, 100, "the total has no more than the others", ""},
		"rest of the right plane":         {events{on(planeA, event(10, 0)), on(planeB, event(5, 0)), on(planeB, without(event(0, 0)))}, totals{total(planeA, 10), total(planeB, 15)}, 25, effective.MethodMixed, 100, "plane B: 1 of 2 events", ""},
		"total of all planes":             {events{on(planeA, event(10, 0)), on(planeB, event(5, 0))}, totals{total(procedure.PlaneAll, 20)}, 20, effective.MethodMixed, 100, "all planes: 25 %", ""},
		"all planes beside the planes":    {events{on(planeA, event(10, 0)), on(planeB, event(5, 0))}, totals{total(planeA, 10), total(planeB, 5), total(procedure.PlaneAll, 15)}, 15, effective.MethodEvents, 100, "", ""},
		"all planes above the planes":     {events{on(planeA, event(10, 0)), on(planeB, event(5, 0))}, totals{total(planeA, 10), {Plane: planeB}, total(procedure.PlaneAll, 20)}, 20, effective.MethodMixed, 100, "25 %", ""},
		"all planes below the planes":     {events{on(planeA, event(10, 0)), on(planeB, without(event(0, 0)))}, totals{total(planeA, 10), total(planeB, 8), total(procedure.PlaneAll, 12)}, 18, effective.MethodMixed, 100, "44 %", ""},
		"all planes knows what one lacks": {events{on(planeA, event(10, 0)), on(planeB, without(event(0, 0)))}, totals{total(planeA, 10), doubted(total(planeB, 900)), total(procedure.PlaneAll, 12)}, 12, effective.MethodMixed, 100, "17 %", ""},
		"printing of the total":           {events{event(10, 0), event(20, 0)}, totals{total(single, 30.00001)}, 30, effective.MethodEvents, 100, "", ""},
		"events of an unknown plane":      {events{on(procedure.PlaneUnknown, event(10, 0))}, totals{total(single, 10)}, 10, effective.MethodEvents, 100, "", ""},
		"zero is a value":                 {events{event(0, 0)}, nil, 0, effective.MethodEvents, 100, "", ""},
		"suspect total, complete events":  {events{event(10, 0)}, totals{doubted(total(single, 9000))}, 10, effective.MethodEvents, 100, "total of kerma-area product is suspect and not used", ""},
		"partial total, complete events":  {events{event(10, 0)}, totals{partial(total(single, 6))}, 10, effective.MethodEvents, 100, "less than the sum", ""},
		"a small suspect part":            {events{event(90, 0), suspect(event(10, 0))}, nil, math.NaN(), effective.MethodNone, 0, "", "1 of 2 events have no kerma-area product that can be believed (0 missing, 1 suspect)"},
		"a small suspect part, total":     {events{event(90, 0), suspect(event(10, 0))}, totals{total(single, 100)}, 90, effective.MethodEvents, 90, "", "90 % of the kerma-area product has a coefficient: single plane: the kerma-area product of 1 of 2 events is suspect"},
		"suspect, told small":             {events{event(70, 0), suspect(event(0.001, 0))}, totals{total(single, 100)}, math.NaN(), effective.MethodNone, 70, "", "no estimate below 80 %"},
		"suspect, told huge":              {events{event(70, 0), suspect(event(1e6, 0))}, totals{total(single, 70)}, math.NaN(), effective.MethodNone, 0.007, "", "is suspect; no estimate below 80 %"},
		"negative is suspect":             {events{event(70, 0), event(-5, 0)}, totals{total(single, 71)}, 70, effective.MethodEvents, 98.59, "", "suspect"},
		"not a number is suspect":         {events{event(70, 0), event(math.NaN(), 0)}, totals{total(single, 71)}, 70, effective.MethodEvents, 98.59, "", "suspect"},
		"just under the whole":            {events{event(999, 0), suspect(event(1, 0))}, totals{total(single, 1000)}, 999, effective.MethodEvents, 99.9, "", "99 % of"},
		"missing without a total":         {events{event(10, 0), without(event(0, 0))}, nil, math.NaN(), effective.MethodNone, 0, "", "1 missing, 0 suspect"},
		"missing with a partial total":    {events{event(10, 0), without(event(0, 0))}, totals{partial(total(single, 30))}, math.NaN(), effective.MethodNone, 0, "", "the total leaves out a part"},
		"missing in the other plane":      {events{on(planeA, event(10, 0)), on(planeB, without(event(0, 0)))}, totals{total(planeA, 30)}, math.NaN(), effective.MethodNone, 0, "", "plane B: 1 of 1 events"},
		"partial total alone":             {nil, totals{partial(total(single, 30))}, math.NaN(), effective.MethodNone, 0, "", "no events, and the total leaves out a part"},
		"suspect total alone":             {nil, totals{doubted(total(single, 30))}, math.NaN(), effective.MethodNone, 0, "", "no events, and there is no total that can be believed"},
		"one of two totals suspect":       {events{on(procedure.PlaneUnknown, without(event(0, 0)))}, totals{total(planeA, 10), doubted(total(planeB, 30))}, math.NaN(), effective.MethodNone, 0, "", "no total that can be believed"},
		"one of two totals empty":         {events{on(procedure.PlaneUnknown, without(event(0, 0)))}, totals{total(planeA, 10), {Plane: planeB}}, math.NaN(), effective.MethodNone, 0, "", "the total leaves out a part"},
		"nothing at all":                  {nil, nil, math.NaN(), effective.MethodNone, 0, "", "no kerma-area product, neither of events nor in total"},
		"totals without a value":          {nil, totals{{Plane: single}}, math.NaN(), effective.MethodNone, 0, "", "no kerma-area product"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			e := effective.Dose(effective.Input{Region: "abdomen_aorta", Procedure: procedure.Procedure{Events: tt.events, Totals: tt.totals}})
			assert.Equal(t, tt.method, e.Method)
			assert.Contains(t, strings.Join(e.Assumptions, "\n"), tt.says)
			assert.Contains(t, e.Reason, tt.why)
			assert.Equal(t, tt.why == "", e.Reason == "", "a reason only when something is left out: %q", e.Reason)
			assert.InDelta(t, tt.covered, float64(e.Covered.Or(0)), 0.01)
			assert.Equal(t, effective.Version, e.Version)
			assert.Equal(t, effective.Caution, e.Caution)
			value, ok := e.Value.Get()
			require.Equal(t, !math.IsNaN(tt.want), ok)
			assert.Equal(t, ok, e.Low.Present() && e.High.Present())
			if ok {
				assert.InEpsilon(t, 1+0.18*tt.want, 1+value.MSv(), 1e-12) // one product and a sum of a few
			}
		})
	}
}

// TestChoice checks which coefficient, of what weights, is taken for whom.
func TestChoice(t *testing.T) {
	copper := func(metal procedure.Metal, kind procedure.FilterType) []procedure.Filter {
		return []procedure.Filter{{Type: kind, Metal: metal, Min: quantity.Some(quantity.Millimetre(0.3)), Max: quantity.Some(quantity.Millimetre(0.5))}}
	}
	flat := copper(procedure.Copper, procedure.FilterFlat)
	tests := map[string]struct {
		region  string
		filters []procedure.Filter
		sex     string
		age     float64
		want    [3]effective.Coefficient // value, low, high
		filter  string
		says    string
	}{
		"heart with copper, mean of least and greatest": {"cardiac", flat, "", 60, [3]effective.Coefficient{0.34, 0.26, 0.42}, "0.40 mm Cu", ""},
		"heart, two sheets of copper":                   {"cardiac", append(slices.Clone(flat), procedure.Filter{Type: procedure.FilterFlat, Metal: procedure.Copper, Max: quantity.Some(quantity.Millimetre(0.5))}), "", 60, [3]effective.Coefficient{0.40, 0.30, 0.50}, "0.90 mm Cu", ""},
		"heart, no filter said":                         {"cardiac", []procedure.Filter{{Type: procedure.FilterNone}}, "", 60, [3]effective.Coefficient{0.16, 0.12, 0.20}, "no added copper", ""},
		"heart, aluminium alone":                        {"cardiac", copper(procedure.Aluminium, procedure.FilterFlat), "", 60, [3]effective.Coefficient{0.16, 0.12, 0.20}, "no added copper", "filters reported without copper"},
		"heart, no filters reported":                    {"cardiac", nil, "", 60, [3]effective.Coefficient{0.25, 0.16, 0.40}, "unknown", "filter unknown"},
		"heart, another metal":                          {"cardiac", append(slices.Clone(flat), copper(procedure.Tantalum, procedure.FilterFlat)...), "", 60, [3]effective.Coefficient{0.25, 0.16, 0.40}, "unknown", "filter unknown"},
		"heart, copper without thickness":               {"cardiac", []procedure.Filter{{Type: procedure.FilterFlat, Metal: procedure.Copper}}, "", 60, [3]effective.Coefficient{0.25, 0.16, 0.40}, "unknown", "filter unknown"},
		"heart, negative copper":                        {"cardiac", []procedure.Filter{{Type: procedure.FilterFlat, Metal: procedure.Copper, Min: quantity.Some(quantity.Millimetre(-0.3))}}, "", 60, [3]effective.Coefficient{0.25, 0.16, 0.40}, "unknown", "filter unknown"},
		"heart, copper no tube has":                     {"cardiac", []procedure.Filter{{Type: procedure.FilterFlat, Metal: procedure.Copper, Min: quantity.Some(quantity.Millimetre(30))}}, "", 60, [3]effective.Coefficient{0.25, 0.16, 0.40}, "unknown", "filter unknown"},
		"heart, wedge alone":                            {"cardiac", copper(procedure.Copper, procedure.FilterWedge), "", 60, [3]effective.Coefficient{0.25, 0.16, 0.40}, "unknown", "filter unknown"},
		"heart, wedge beside copper":                    {"cardiac", append(slices.Clone(flat), copper(procedure.Lead, procedure.FilterWedge)...), "", 60, [3]effective.Coefficient{0.34, 0.26, 0.42}, "0.40 mm Cu", ""},
		"heart at 16":                                   {"cardiac", flat, "", 16, [3]effective.Coefficient{0.34, 0.26, 0.42}, "0.40 mm Cu", ""},
		"heart below 16":                                {"cardiac", flat, "", 15.9, [3]effective.Coefficient{0.4, 0.3, 0.5}, "not distinguished", "ICRP 60 weights"},
		"heart, age unknown":                            {"cardiac", flat, "", math.NaN(), [3]effective.Coefficient{0.34, 0.26, 0.42}, "0.40 mm Cu", "age unknown: counted as an adult"},
		"heart, age absurd":                             {"cardiac", flat, "", 999, [3]effective.Coefficient{0.34, 0.26, 0.42}, "0.40 mm Cu", "age unknown: counted as an adult"},
		"head":                                          {"head_neuro", nil, "", 60, [3]effective.Coefficient{0.09, 0.05, 0.12}, "not distinguished", ""},
		"neck":                                          {"neck_carotid", nil, "", 60, [3]effective.Coefficient{0.12, 0.06, 0.20}, "not distinguished", ""},
		"thoracic aorta":                                {"thoracic_aorta", nil, "", 60, [3]effective.Coefficient{0.22, 0.12, 0.33}, "not distinguished", "nearest geometry"},
		"abdominal aorta":                               {"abdomen_aorta", nil, "", 60, [3]effective.Coefficient{0.18, 0.12, 0.30}, "not distinguished", ""},
		"liver":                                         {"hepatic_biliary", nil, "", 60, [3]effective.Coefficient{0.18, 0.12, 0.33}, "not distinguished", ""},
		"lower limb":                                    {"lower_limb", nil, "", 60, [3]effective.Coefficient{0.065, 0.04, 0.13}, "not distinguished", ""},
		"pelvis of a man":                               {"pelvis", nil, "M", 60, [3]effective.Coefficient{0.18, 0.10, 0.30}, "not distinguished", ""},
		"pelvis of a woman":                             {"pelvis", nil, "F", 60, [3]effective.Coefficient{0.30, 0.15, 0.60}, "not distinguished", ""},
		"pelvis, sex unknown":                           {"pelvis", nil, "", 60, [3]effective.Coefficient{0.23, 0.10, 0.60}, "not distinguished", "sex unknown"},
		"pelvis, another sex":                           {"pelvis", nil, "O", 60, [3]effective.Coefficient{0.23, 0.10, 0.60}, "not distinguished", "sex unknown"},
		"no region":                                     {"", nil, "", 60, [3]effective.Coefficient{0.24, 0.10, 0.60}, "not distinguished", "dose region unknown"},
		"a region of another list":                      {"pelvis_male", nil, "", 60, [3]effective.Coefficient{0.24, 0.10, 0.60}, "not distinguished", "dose region unknown"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			ev := change(event(10, 0), func(e *procedure.Event) { e.Filters = tt.filters })
			e := effective.Dose(effective.Input{
				Region:    tt.region,
				Procedure: procedure.Procedure{Events: []procedure.Event{ev}, Patient: procedure.Patient{AgeYears: quantity.Some(tt.age), Sex: tt.sex}},
			})
			require.Len(t, e.Parts, 1, e.Reason)
			p := e.Parts[0]
			for i, got := range []effective.Coefficient{p.Coefficient, p.Low, p.High} {
				assert.InDelta(t, float64(tt.want[i]), float64(got), 1e-12) // the table's numbers, once interpolated to themselves
			}
			assert.Equal(t, tt.filter, p.Filter)
			assert.Contains(t, strings.Join(e.Assumptions, "\n"), tt.says)
			assert.NotEmpty(t, p.Source)
			assert.Len(t, e.Sources, 1)
		})
	}
}

func TestWhoThePatientIs(t *testing.T) {
	start, err := json.Marshal("2026-03-01T08:00:00Z")
	require.NoError(t, err)
	born := procedure.Procedure{Patient: procedure.Patient{BirthDate: "2021-03-01"}, Events: []procedure.Event{event(1, 0)}}
	require.NoError(t, json.Unmarshal(start, &born.Start.Time))

	byBirth := effective.Dose(effective.Input{Region: "cardiac", Procedure: born})
	assert.InDelta(t, 1.0, byBirth.Value.Or(0).MSv(), 0.001, "five years by birth date: a child is never an adult for want of an age") // 1826 days are 0.7 days less than 5 years of 365.25
	byReport := born
	byReport.Patient.AgeYears = quantity.Some(10.0)
	assert.InDelta(t, 0.6, effective.Dose(effective.Input{Region: "cardiac", Procedure: byReport}).Value.Or(0).MSv(), 1e-12)
	byPerson := effective.Dose(effective.Input{Region: "cardiac", Procedure: byReport, Facts: procedure.Facts{AgeYears: quantity.Some(1.0)}})
	assert.InDelta(t, 1.9, byPerson.Value.Or(0).MSv(), 1e-12, "what a person adds replaces the report")
	female := effective.Dose(effective.Input{
		Region: "pelvis", Facts: procedure.Facts{Sex: "F"},
		Procedure: procedure.Procedure{Patient: procedure.Patient{Sex: "M"}, Events: []procedure.Event{event(1, 0)}},
	})
	assert.Equal(t, "pelvis_female", female.Parts[0].Region)
}

func TestNoneWithReason(t *testing.T) {
	child := procedure.Facts{AgeYears: quantity.Some(4.0)}
	for _, region := range effective.Regions() {
		e := effective.Dose(effective.Input{Region: region, Facts: child, Procedure: procedure.Procedure{Events: []procedure.Event{event(1, 0)}}})
		assert.Equal(t, region == "cardiac", e.Value.Present(), region)
		if region != "cardiac" {
			assert.Contains(t, e.Reason, "no coefficient for children under 16 years outside the heart", region)
			assert.Contains(t, e.Reason, "0 % of the kerma-area product")
		}
	}
	test := effective.Dose(effective.Input{Region: "cardiac", Procedure: procedure.Procedure{
		Purpose: procedure.PurposeQualityControl, Events: []procedure.Event{event(1, 0)},
	}})
	assert.False(t, test.Value.Present())
	assert.Contains(t, test.Reason, "test object")
}

// TestEventRegion counts each event by its own region, the rest by that of the procedure.
func TestEventRegion(t *testing.T) {
	in := effective.Input{
		Region: "abdomen_aorta",
		Procedure: procedure.Procedure{
			Events: []procedure.Event{event(10, 0), change(event(20, 0), func(e *procedure.Event) { e.Label = "leg" }), event(30, 0.1)},
			Totals: []procedure.PlaneTotal{total(single, 100)},
		},
		EventRegion: func(ev procedure.Event) (string, bool) { return "lower_limb", ev.Label == "leg" },
	}
	e := effective.Dose(in)
	require.Len(t, e.Parts, 4)
	assert.InDelta(t, 0.18*80+0.065*20, e.Value.Or(0).MSv(), 1e-12)
	assert.Equal(t, effective.MethodMixed, e.Method)
	// By hand: 80 x 0.18 + 20 x 0.065 = 15.7; spread 80 x 0.12 + 20 x 0.04 = 10.4 to 80 x 0.30 + 20 x 0.13 = 26.6; with the
	// meter 15.7 exp(-hypot(0.412, 0.300)) = 9.43 and 15.7 exp(hypot(0.527, 0.431)) = 31.0.
	ends(t, e, 9.43, 31.0)
	child := in
	child.Facts.AgeYears = quantity.Some(8.0)
	child.EventRegion = func(ev procedure.Event) (string, bool) { return "cardiac", true }
	child.Procedure.Totals = []procedure.PlaneTotal{total(single, 62)}
	mostly := effective.Dose(child)
	require.True(t, mostly.Value.Present(), mostly.Reason)
	assert.InDelta(t, 100*60.0/62, float64(mostly.Covered.Or(0)), 1e-9)
	assert.Contains(t, mostly.Reason, "97 % of the kerma-area product has a coefficient")
}

// TestRange checks the log-quadrature of eq. (8.4) by hand: abdomen 0.12 to 0.30 about 0.18.
func TestRange(t *testing.T) {
	tests := map[string]struct {
		factor   quantity.Opt[procedure.Factor]
		scale    float64
		down, up float64 // the meter's factors
		says     string
	}{
		"display":        {quantity.None[procedure.Factor](), 1, 1.35, 1 / 0.65, "as displayed, within 35 %"},
		"signed":         {quantity.Some(procedure.Factor{Value: 0.9, Uncertainty: 3}), 0.9, 1.03 * 1.03, 1.03 * 1.03, "times the signed factor 0.900, known to 3.0 %"},
		"exact":          {quantity.Some(procedure.Factor{Value: 1.1}), 1.1, 1, 1, "times the signed factor 1.10"},
		"behind table":   {quantity.Some(procedure.Factor{Value: 0.8, Uncertainty: 3, IncludesTable: true}), 1, 1.35, 1 / 0.65, "measured behind the table"},
		"no factor":      {quantity.Some(procedure.Factor{}), 1, 1.35, 1 / 0.65, "not applied"},
		"not a number":   {quantity.Some(procedure.Factor{Value: math.NaN()}), 1, 1.35, 1 / 0.65, "not applied"},
		"less than sure": {quantity.Some(procedure.Factor{Value: 1, Uncertainty: -1}), 1, 1.35, 1 / 0.65, "not applied"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			e := effective.Dose(effective.Input{Region: "abdomen_aorta", KAPFactor: tt.factor, Procedure: procedure.Procedure{Events: []procedure.Event{event(100, 0)}}})
			want := 18 * tt.scale
			assert.InDelta(t, want, e.Value.Or(0).MSv(), 1e-9)
			assert.InDelta(t, want*math.Exp(-math.Hypot(math.Log(0.18/0.12), math.Log(tt.down))), e.Low.Or(0).MSv(), 1e-9)
			assert.InDelta(t, want*math.Exp(math.Hypot(math.Log(0.30/0.18), math.Log(tt.up))), e.High.Or(0).MSv(), 1e-9)
			assert.Contains(t, strings.Join(e.Assumptions, "\n"), tt.says)
		})
	}
}

// TestHighEndCoversWhatIsLost: the kerma-area product without a coefficient raises the high end by the highest
// coefficient in use, and the signed factor is applied to both. By hand: heart without copper 0.16 (0.12 to 0.20) for 50,
// abdomen 0.18 (0.12 to 0.30) for 40, 10 of 100 Gy cm2 suspect; all times 1.1 without uncertainty.
func TestHighEndCoversWhatIsLost(t *testing.T) {
	for _, order := range [][2]string{{"cardiac", "abdomen_aorta"}, {"hepatic_biliary", "lower_limb"}} {
		e := effective.Dose(effective.Input{
			KAPFactor: quantity.Some(procedure.Factor{Value: 1.1}),
			Procedure: procedure.Procedure{
				Events: []procedure.Event{
					change(event(50, 0), func(e *procedure.Event) { e.Label = order[0] }),
					change(event(40, 0), func(e *procedure.Event) { e.Label = order[1] }), suspect(event(10, 0)),
				},
				Totals: []procedure.PlaneTotal{total(single, 100)},
			},
			EventRegion: func(ev procedure.Event) (string, bool) { return ev.Label, true },
		})
		want := map[string][3]float64{
			"cardiac":         {1.1 * (50*0.16 + 40*0.18), 1.1 * (50*0.12 + 40*0.12), 1.1 * (50*0.20 + 40*0.30 + 10*0.30)},
			"hepatic_biliary": {1.1 * (50*0.18 + 40*0.065), 1.1 * (50*0.12 + 40*0.04), 1.1 * (50*0.33 + 40*0.13 + 10*0.33)},
		}[order[0]]
		assert.InDelta(t, 90, float64(e.Covered.Or(0)), 1e-9)
		assert.InDelta(t, want[0], e.Value.Or(0).MSv(), 1e-9)
		assert.InDelta(t, want[1], e.Low.Or(0).MSv(), 1e-9)
		assert.InDelta(t, want[2], e.High.Or(0).MSv(), 1e-9)
	}
}

// TestOldAge: 120 years is an age, not a slip.
func TestOldAge(t *testing.T) {
	e := effective.Dose(effective.Input{Region: "cardiac", Facts: procedure.Facts{AgeYears: quantity.Some(120.0)}, Procedure: procedure.Procedure{Events: []procedure.Event{event(1, 0.4)}}})
	assert.NotContains(t, strings.Join(e.Assumptions, "\n"), "age unknown")
}

func TestEndsByHand(t *testing.T) {
	e := effective.Dose(effective.Input{Region: "cardiac", Procedure: procedure.Procedure{Events: []procedure.Event{event(347, 0.4)}}})
	// By hand: 347 x 0.34 = 117.98; exp(-hypot(0.268, 0.300)) = 0.669 and exp(hypot(0.211, 0.431)) = 1.616 times that.
	assert.InDelta(t, 117.98, e.Value.Or(0).MSv(), 1e-9)
	ends(t, e, 78.9, 190.7)
	lost := effective.Dose(effective.Input{Procedure: procedure.Procedure{Events: []procedure.Event{event(0.05, 0.4)}}})
	assert.Equal(t, effective.MethodRegionUnknown, lost.Method)
	ends(t, lost, 0.0048, 0.033)
	assert.Contains(t, effective.Caution, "reference person")
	assert.Contains(t, effective.Caution, "not this patient's dose or risk")
}

// ends checks a range in mSv to the figures that an expectation by hand prints.
func ends(t *testing.T, e effective.Estimate, low, high float64) {
	t.Helper()
	assert.InEpsilon(t, low, e.Low.Or(0).MSv(), 0.01)
	assert.InEpsilon(t, high, e.High.Or(0).MSv(), 0.01)
}

func TestRows(t *testing.T) {
	trunk := []string{"cardiac", "thoracic_aorta", "abdomen_aorta", "hepatic_biliary", "pelvis_male", "pelvis_female"}
	low, high := math.Inf(1), 0.0
	for _, r := range effective.Rows() {
		assert.Contains(t, []string{"read", "judgement"}, r.Known)
		assert.Contains(t, []effective.WeightSet{effective.ICRP60, effective.ICRP103, effective.WeightsUnknown}, r.Weights)
		assert.NotEmpty(t, r.Source)
		plain := !r.Copper.Present() && !r.Age.Present()
		if plain && slices.Contains(trunk, r.Region) {
			low, high = min(low, float64(r.Low)), max(high, float64(r.High))
		}
		if r.Region == "unknown" {
			assert.InDelta(t, low, float64(r.Low), 0, "the unknown region spans the trunk")
			assert.InDelta(t, high, float64(r.High), 0)
			assert.InDelta(t, math.Sqrt(low*high), float64(r.Value), 0.005, "their geometric mean in two figures") // half of 0.01
		}
	}
}

// TestProperties holds for any procedure: the dose grows with the kerma-area product as it should, adds over events, has
// its range about it and does not see their order.
func TestProperties(t *testing.T) {
	someEvent := rapid.Custom(func(t *rapid.T) procedure.Event {
		ev := event(rapid.Float64Range(0.001, 500).Draw(t, "kap"), quantity.Millimetre(rapid.SampledFrom([]float64{0, 0.1, 0.2, 0.6, 1}).Draw(t, "copper")))
		if rapid.Bool().Draw(t, "no filter") {
			ev.Filters = nil
		}
		ev.Label = rapid.SampledFrom(effective.Regions()).Draw(t, "region")
		return ev
	})
	dose := func(events []procedure.Event, scale float64) effective.Estimate {
		scaled := slices.Clone(events)
		for i := range scaled {
			scaled[i].KAP = quantity.Some(scaled[i].KAP.Or(0) * quantity.GraySquareMetre(scale))
		}
		return effective.Dose(effective.Input{
			Procedure:   procedure.Procedure{Events: scaled},
			EventRegion: func(ev procedure.Event) (string, bool) { return ev.Label, true },
		})
	}
	rapid.Check(t, func(t *rapid.T) {
		events := rapid.SliceOfN(someEvent, 1, 12).Draw(t, "events")
		whole := dose(events, 1)
		value, low, high := whole.Value.Or(-1), whole.Low.Or(-1), whole.High.Or(-1)
		require.Less(t, low, value)
		require.Greater(t, high, value)

		twice := dose(events, 2)
		require.Equal(t, 2*value, twice.Value.Or(-1), "a power of two scales every sum without rounding")
		require.InEpsilon(t, 2*float64(low), float64(twice.Low.Or(-1)), 1e-12)   // exp and log
		require.InEpsilon(t, 2*float64(high), float64(twice.High.Or(-1)), 1e-12) // exp and log

		cut := rapid.IntRange(0, len(events)).Draw(t, "cut")
		parts := 0.0
		for _, half := range [][]procedure.Event{events[:cut], events[cut:]} {
			if len(half) > 0 {
				parts += float64(dose(half, 1).Value.Or(-1))
			}
		}
		require.InEpsilon(t, float64(value), parts, 1e-12) // the sums are taken in another order

		sum := 0.0
		for _, p := range whole.Parts {
			sum += float64(p.Coefficient.Of(p.KAP))
		}
		require.InEpsilon(t, float64(value), sum, 1e-12, "the parts tell the whole")

		require.Equal(t, whole, dose(rapid.Permutation(events).Draw(t, "order"), 1), "same input, same bits")
	})
}
