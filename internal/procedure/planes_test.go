package procedure_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

func TestPlaneCodesReadAnew(t *testing.T) {
	const unknown = procedure.PlaneUnknown
	tests := map[string]struct {
		events []procedure.Plane
		totals []procedure.Plane
		want   []procedure.Plane
		rule   string
	}{
		"biplane as it should be":              {[]procedure.Plane{planeA, planeB}, []procedure.Plane{planeA, planeB}, []procedure.Plane{planeA, planeB}, ""},
		"plane B coded as single plane":        {[]procedure.Plane{planeA, single}, []procedure.Plane{planeA, single}, []procedure.Plane{planeA, planeB}, "plane-code-read"},
		"plane A coded as single plane":        {[]procedure.Plane{single, planeB}, []procedure.Plane{single, planeB}, []procedure.Plane{planeA, planeB}, "plane-code-read"},
		"only the events of B coded as single": {[]procedure.Plane{planeA, single}, []procedure.Plane{planeA, planeB}, []procedure.Plane{planeA, planeB}, "plane-code-read"},
		"events without plane, one total":      {[]procedure.Plane{unknown}, []procedure.Plane{single}, []procedure.Plane{single}, "plane-code-read"},
		"total without plane, one plane":       {[]procedure.Plane{single}, []procedure.Plane{unknown}, []procedure.Plane{single}, "plane-code-read"},
		"events without plane, two totals":     {[]procedure.Plane{unknown}, []procedure.Plane{planeA, planeB}, []procedure.Plane{unknown, planeA, planeB}, "plane-code-unclear"},
		"three planes":                         {[]procedure.Plane{single, planeA, planeB}, []procedure.Plane{single, planeA, planeB}, []procedure.Plane{single, planeA, planeB}, "plane-code-unclear"},
		"events on two planes, one total":      {[]procedure.Plane{planeA, planeB}, []procedure.Plane{planeA}, []procedure.Plane{planeA, planeB}, "plane-without-totals"},
		"totals of two planes, events of one":  {[]procedure.Plane{planeA}, []procedure.Plane{planeA, planeB}, []procedure.Plane{planeA, planeB}, "plane-without-events"},
		"plane B alone":                        {[]procedure.Plane{planeB}, []procedure.Plane{planeB}, []procedure.Plane{planeB}, "plane-a-absent"},
		"one unknown plane throughout":         {[]procedure.Plane{unknown}, []procedure.Plane{unknown}, []procedure.Plane{unknown}, ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			var events []procedure.Event
			for i, plane := range tt.events {
				events = append(events, event("e."+plane.String(), plane, i, 1))
			}
			var totals []procedure.PlaneTotal
			for _, plane := range tt.totals {
				totals = append(totals, total(plane, 1))
			}
			p := one(t, report("r.1", 30, procedure.ScopeStudy, events, totals...))
			var got []procedure.Plane
			for _, d := range p.Planes() {
				got = append(got, d.Plane)
			}
			assert.Equal(t, tt.want, got)
			if tt.rule == "" {
				assert.Empty(t, p.Findings)
			} else {
				assert.Contains(t, rules(p), tt.rule)
			}
		})
	}
}

func TestPlaneDose(t *testing.T) {
	bare := event("e.2", planeA, 2, 0)
	bare.RefKerma, bare.Suspicion = quantity.None[quantity.Gray](), procedure.SuspectKAP
	acquired := event("e.3", planeA, 3, 0.5)
	acquired.Type, acquired.Technique.Duration = procedure.Stationary, quantity.None[quantity.Second]()
	p := one(t, report("r.1", 30, procedure.ScopeStudy, list(event("e.1", planeA, 1, 1), bare, acquired), total(planeA, 1.2)))
	d := p.Planes()[0]
	assert.InDelta(t, 1.5, kerma(t, d.SumKerma), tiny)
	assert.False(t, d.KermaComplete)
	assert.True(t, d.KAPComplete)
	assert.True(t, d.KermaKnown(), "the total stands")
	assert.InDelta(t, 1.5, kerma(t, d.Kerma()), tiny, "the larger of total and sum")
	assert.Equal(t, quantity.Some(quantity.Second(20)), d.FluoroTime, "two fluoroscopy events of 10 s")
	assert.Equal(t, procedure.SuspectKAP, d.Suspicion)
	assert.Contains(t, rules(p), "kerma-total-differs")
}

func TestFluoroscopyTime(t *testing.T) {
	untimed := event("e.2", single, 2, 1)
	untimed.Technique.Duration = quantity.None[quantity.Second]()
	untyped := event("e.3", single, 3, 1)
	untyped.Type = procedure.EventUnknown
	acquired := event("e.4", single, 4, 1)
	acquired.Type = procedure.Rotational
	timed := total(single, 1)
	timed.FluoroTime = quantity.Some(quantity.Second(99))
	tests := map[string]struct {
		p    procedure.Procedure
		want quantity.Opt[quantity.Second]
	}{
		"the total":                     {procedure.Procedure{Events: list(event("e.1", single, 1, 1)), Totals: []procedure.PlaneTotal{timed}}, quantity.Some(quantity.Second(99))},
		"durations":                     {procedure.Procedure{Events: list(event("e.1", single, 1, 1), acquired)}, quantity.Some(quantity.Second(10))},
		"a duration lacks":              {procedure.Procedure{Events: list(event("e.1", single, 1, 1), untimed)}, quantity.None[quantity.Second]()},
		"an unknown type may be it":     {procedure.Procedure{Events: list(event("e.1", single, 1, 1), untyped)}, quantity.None[quantity.Second]()},
		"acquisitions only have none":   {procedure.Procedure{Events: list(acquired)}, quantity.Some(quantity.Second(0))},
		"totals without time know none": {procedure.Procedure{Totals: []procedure.PlaneTotal{total(single, 1)}}, quantity.None[quantity.Second]()},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) { assert.Equal(t, tt.want, tt.p.Planes()[0].FluoroTime) })
	}
}

func TestCaseDose(t *testing.T) {
	gray := func(v float64) quantity.Opt[quantity.Gray] { return quantity.Some(quantity.Gray(v)) }
	none := quantity.None[quantity.Gray]()
	a := procedure.PlaneDose{Plane: planeA, TotalKerma: gray(2), SumKerma: gray(1)}
	b := procedure.PlaneDose{Plane: planeB, TotalKerma: gray(3)}
	lacking := procedure.PlaneDose{Plane: planeB, SumKerma: gray(3)}
	empty := procedure.PlaneDose{Plane: planeB}
	partial := procedure.PlaneDose{Plane: planeB, TotalKerma: gray(3), Partial: procedure.SuspectKerma}
	all := procedure.PlaneDose{Plane: procedure.PlaneAll, TotalKerma: gray(4)}
	tests := map[string]struct {
		planes      []procedure.PlaneDose
		want, least quantity.Opt[quantity.Gray]
		missing     []string
	}{
		"nothing":                                 {nil, none, none, nil},
		"sum of planes":                           {[]procedure.PlaneDose{a, b}, gray(5), gray(5), nil},
		"a plane with an incomplete sum":          {[]procedure.PlaneDose{a, lacking}, none, gray(5), []string{"plane B"}},
		"a plane without kerma":                   {[]procedure.PlaneDose{a, empty}, none, gray(2), []string{"plane B"}},
		"a plane with a partial total":            {[]procedure.PlaneDose{a, partial}, none, gray(5), []string{"plane B"}},
		"a total over all knows what planes lack": {[]procedure.PlaneDose{a, empty, all}, gray(4), gray(4), nil},
		"the sum beyond a total over all":         {[]procedure.PlaneDose{a, b, all}, gray(5), gray(5), nil},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got := procedure.SumPlanes(tt.planes)
			assert.Equal(t, tt.want, got.Kerma)
			assert.Equal(t, tt.least, got.LeastKerma)
			assert.Equal(t, tt.missing, got.KermaMissing)
		})
	}
}

func TestCaseDoseIsNotBelowWhatIsKnown(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		for _, p := range procedure.Merge(drawReports(t)) {
			c := p.CaseDose()
			whole, ok := c.Kerma.Get()
			least, okLeast := c.LeastKerma.Get()
			require.True(t, !ok || okLeast)
			assert.True(t, !ok || math.Float64bits(float64(whole)) == math.Float64bits(float64(least)))
			for _, d := range p.Planes() {
				if v, has := d.Kerma().Get(); has {
					assert.GreaterOrEqual(t, float64(least), float64(v))
				}
			}
		}
	})
}

// Plane B alone is half of a biplane case: what it shows can reach a level and never lies below one.
func TestPlaneBAloneMissesPlaneA(t *testing.T) {
	b := procedure.PlaneTotal{Plane: procedure.PlaneB, RefKerma: quantity.Some(quantity.Gray(1)), KAP: quantity.Some(quantity.GraySquareMetre(0.01))}
	c := procedure.Procedure{Totals: []procedure.PlaneTotal{b}}.CaseDose()
	assert.False(t, c.Kerma.Present())
	assert.False(t, c.KAP.Present())
	assert.Equal(t, []string{"plane A"}, c.KermaMissing)
	assert.Equal(t, quantity.Some(quantity.Gray(1)), c.LeastKerma)

	all := procedure.PlaneTotal{Plane: procedure.PlaneAll, RefKerma: quantity.Some(quantity.Gray(3)), KAP: quantity.Some(quantity.GraySquareMetre(0.03))}
	c = procedure.Procedure{Totals: []procedure.PlaneTotal{b, all}}.CaseDose()
	assert.Equal(t, quantity.Some(quantity.Gray(3)), c.Kerma, "a total over all planes knows plane A")
}
