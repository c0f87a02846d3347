package skindose_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/quantity"
)

// Every relation is told with its source, and lies in the range of the groups it was found in: a range that a published
// mean falls out of would be no range.
func TestPublishedRelationsLieInTheRangesOfTheirGroups(t *testing.T) {
	relations := skindose.Published()
	require.Len(t, relations, 23)
	applied := 0
	for _, r := range relations {
		for _, words := range []string{r.Words, r.Method, r.Source, r.Known} {
			assert.NotEmpty(t, words, r.Source)
		}
		assert.Equal(t, r.Low.Present(), r.High.Present(), r.Source)
		assert.LessOrEqual(t, r.Low.Or(0), r.Value, r.Source)
		assert.GreaterOrEqual(t, r.High.Or(r.Value), r.Value, r.Source)
		for _, id := range r.Classes {
			class := lexicon.ClassOf(id)
			require.Equal(t, id, class.ID, "a class of the lexicon")
			group := skindose.TotalsOf(class.Group)
			low, high := float64(group.PerKermaLow), float64(group.PerKermaHigh)
			if r.FromKAP {
				low, high = float64(group.PerKAPLow/skindose.MilliGrayPerGycm2), float64(group.PerKAPHigh/skindose.MilliGrayPerGycm2)
			}
			assert.GreaterOrEqual(t, r.Value, low, "%s in %s", r.Source, id)
			assert.LessOrEqual(t, r.Value, high*(1+1e-12), "%s in %s", r.Source, id) // the unit's rounding
			applied++
		}
	}
	assert.Equal(t, 25, applied)
}

func TestPublishedRelationsStandBesideTheTotals(t *testing.T) {
	const gycm2 = quantity.GraySquareCentimetre
	kerma := procedure.PlaneTotal{Plane: procedure.PlaneSingle, RefKerma: some[quantity.Gray](2), KAP: some(100 * gycm2)}
	kap := procedure.PlaneTotal{Plane: procedure.PlaneSingle, KAP: some(100 * gycm2)}
	smaller := procedure.PlaneTotal{Plane: procedure.PlaneB, RefKerma: some[quantity.Gray](1)}
	larger := kerma
	larger.Plane = procedure.PlaneA
	tests := map[string]struct {
		class, group string
		age          float64
		totals       []procedure.PlaneTotal
		want         []float64 // Gy, by hand from the table
	}{
		"coronary intervention by air kerma": {"coronary_intervention", skindose.GroupCoronary, 60, []procedure.PlaneTotal{kerma}, []float64{2.24, 1}},
		"a child's heart":                    {"coronary_intervention", skindose.GroupCoronary, 7, []procedure.PlaneTotal{kerma}, []float64{1.3}},
		"by kerma-area product alone":        {"coronary_intervention", skindose.GroupCoronary, 60, []procedure.PlaneTotal{kap}, []float64{0.81, 0.83, 0.95, 2}},
		"the plane that the value rests on":  {"aortic_complex", skindose.GroupBody, 60, []procedure.PlaneTotal{larger, smaller}, []float64{1.26}},
		"none was found for rhythm":          {"rhythm_ablation", skindose.GroupStaticProjection, 60, []procedure.PlaneTotal{kerma}, nil},
		"nothing for a child's liver":        {"hepatic_biliary", skindose.GroupBody, 7, []procedure.PlaneTotal{kerma}, nil},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			p := single(0, 0)
			p.Class, p.Totals, p.Patient.AgeYears = tt.class, tt.totals, some(tt.age)
			e := skindose.Evaluate(skindose.Input{Procedure: p, Group: tt.group, Site: "heart"})
			require.Equal(t, skindose.MethodTotals, e.Method)
			var got []float64
			for _, c := range e.Published {
				got = append(got, float64(c.Value))
			}
			assert.InDeltaSlice(t, tt.want, got, 1e-9) // exact but for rounding
		})
	}
	p := single(0, 0)
	p.Class, p.Totals = "neuro", []procedure.PlaneTotal{kerma}
	e := skindose.Evaluate(skindose.Input{Procedure: p, Group: skindose.GroupNeuro, Site: "brain"})
	require.Len(t, e.Published, 2)
	assert.Equal(t, "0.88 Gy by the published relation 0.44 Gy per Gy of reference air kerma (0.26 to 0.62), highest dosemeter over dose at the reference point, "+
		"mean and one standard deviation; thermoluminescence dosemeters, n = 52; Sandborg M et al 2010, Eur Radiol (authors, journal and year from memory); read (abstract)",
		e.Published[0].String())
	assert.InDelta(t, 0.52, float64(e.Published[0].Low.Or(0)), 1e-12) // exact but for rounding
	assert.InDelta(t, 1.24, float64(e.Published[0].High.Or(0)), 1e-12)
	assert.False(t, e.Published[1].Low.Present(), "its source prints no spread")
	mapped := skindose.Evaluate(input(single(2, 2, frontal(2)), known()))
	assert.Empty(t, mapped.Published, "a map needs none beside it")
}
