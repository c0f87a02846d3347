package assessment_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// kept are the stages with their estimates alone.
func kept(m assessment.Method, all []assessment.Earlier) (out []assessment.Kept, delivered []assessment.Delivered) {
	for i, e := range all {
		a := m.Assess(e.Procedure, e.Facts)
		key := string(rune('a' + i))
		out = append(out, assessment.Kept{Earlier: e, Key: key, Value: a.SkinDose.Value, Low: a.SkinDose.Low, High: a.SkinDose.High})
		d := a.Delivered()
		d.Key = key
		delivered = append(delivered, d)
	}
	return out, delivered
}

func TestLay(t *testing.T) {
	m := assessment.Default()
	m.MaxPatch, m.RangePoints = 10, 8
	all := stages(t)
	all[1].Facts.Weight = quantity.Some[quantity.Kilogram](110)
	all[1].Facts.Height = quantity.Some[quantity.Millimetre](1750)
	ks, ds := kept(m, all)
	laid := m.Lay(ks)
	assert.Equal(t, 2, laid.Mapped)
	require.Len(t, laid.Shares, 2)
	assert.InDelta(t, float64(laid.Value.Or(0)), float64(laid.Shares[0].Dose+laid.Shares[1].Dose), 1e-12) // one addition
	assert.Less(t, laid.Low.Or(0), laid.Value.Or(0))
	assert.Greater(t, laid.High.Or(0), laid.Value.Or(0))
	assert.Equal(t, laid, m.Lay([]assessment.Kept{ks[1], ks[0]}), "whatever the order")

	know := func(l assessment.Laid) func([]string) (assessment.Laid, bool) {
		return func(keys []string) (assessment.Laid, bool) {
			return l, assert.ElementsMatch(t, []string{"a", "b"}, keys)
		}
	}
	psd := func(s assessment.Sum) float64 {
		for _, r := range s.Levels.Results {
			if r.Row.Quantity == level.PSD {
				return r.Value.Or(0)
			}
		}
		return 0
	}
	last := max(ds[0].LocalDate, ds[1].LocalDate)
	mapped := m.SumLaid(ds, 60, last, know(laid))
	assert.True(t, mapped.ByLaid)
	assert.InDelta(t, float64(laid.Value.Or(0)), psd(mapped), 0)
	assert.InDelta(t, float64(m.Sum(ds, 60, last).SkinDose.Value.Or(0)), psd(m.Sum(ds, 60, last)), 0, "not known: the peaks added")

	without := all[0]
	without.Procedure.Events = nil
	ks, ds = kept(m, []assessment.Earlier{without, all[1]})
	part := m.Lay(ks)
	assert.Equal(t, [2]int{1, 1}, [2]int{part.Mapped, part.Lacking})
	sum := m.SumLaid(ds, 60, last, know(part))
	assert.False(t, sum.ByLaid, "one has an estimate and no map")
	assert.InDelta(t, float64(sum.SkinDose.Value.Or(0)), psd(sum), 0)
	assert.Equal(t, assessment.Laid{Procedures: 1, Lacking: 1, Words: "no procedure has a map of skin dose"}, m.Lay(ks[:1]))
}

// TestAnAssumedPlaceKeepsTheHighEnd has a level between the high end of the map and that of the peaks added.
func TestAnAssumedPlaceKeepsTheHighEnd(t *testing.T) {
	m := assessment.Default()
	var ds []assessment.Delivered
	for _, key := range []string{"a", "b"} {
		ds = append(ds, assessment.Delivered{
			Key: key, LocalDate: "2026-09-01", Dose: procedure.CaseDose{Kerma: quantity.Some[quantity.Gray](0.1), LeastKerma: quantity.Some[quantity.Gray](0.1)},
			PSD: skindose.Estimate{Value: quantity.Some[quantity.Gray](1.4), Low: quantity.Some[quantity.Gray](1), High: quantity.Some[quantity.Gray](1.8), Method: skindose.MethodMapAssumed},
		})
	}
	state := func(method skindose.Method) level.State {
		laid := assessment.Laid{Procedures: 2, Mapped: 2, Value: quantity.Some[quantity.Gray](1.5), High: quantity.Some[quantity.Gray](2), Method: method}
		s := m.SumLaid(ds, 60, "2026-09-01", func([]string) (assessment.Laid, bool) { return laid, true })
		for _, r := range s.Levels.Results {
			if r.Row.Quantity == level.PSD && r.Level == 3 {
				return r.State
			}
		}
		t.Fatal("no level of 3 Gy")
		return level.NoFlag
	}
	assert.Equal(t, level.Near, state(skindose.MethodMapAssumed), "2 x 1.8 Gy reach 3 Gy")
	assert.Equal(t, level.Below, state(skindose.MethodMap), "2 Gy do not")
}
