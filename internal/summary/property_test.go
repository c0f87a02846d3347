package summary_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/quantity"
	"afterbeam/internal/summary"
	"afterbeam/internal/summary/statistic"
	"afterbeam/internal/summary/trend"
)

// drawn gives cases of a year of all kinds, up to October 2026.
func drawn(t *rapid.T) []summary.Case {
	n := rapid.IntRange(0, 90).Draw(t, "cases")
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
	out := make([]summary.Case, n)
	for i := range out {
		out[i] = invented(r, i, time.Date(2026, 10, 31, 0, 0, 0, 0, time.UTC).AddDate(0, 0, -int(r.ExpFloat64()*60)))
	}
	return out
}

// invented makes a case of random numbers; a tenth of each quantity is absent, a part or suspect.
func invented(r *rand.Rand, n int, day time.Time) summary.Case {
	pick := func(of ...string) string { return of[r.IntN(len(of))] }
	doubt := func() summary.Doubt {
		return summary.Doubt(pick("", "", "", "", "", "", "", "", "part", "suspect"))
	}
	dose := r.NormFloat64()
	c := oneCase(n, day.Format(time.DateOnly), kap(30*math.Exp(dose)), kerma(quantity.Gray(0.6*math.Exp(dose+0.3*r.NormFloat64()))))
	c.Start = day.Add(time.Duration(r.IntN(10)) * time.Hour)
	c.Class, c.Complexity = pick("coronary_diagnostic", "coronary_intervention", "aortic_complex", "neuro", ""), pick("simple", "standard", "complex", "")
	c.Room = pick("Hybrid 1", "Cath 2", "Rhythm 3", "Neuro 4")
	c.Device, c.DeviceName, c.Mobile = "device of "+c.Room, "Angio of "+c.Room, r.IntN(20) == 0
	c.Operators = []string{pick("A", "B", "C"), pick("A", "B", "D")}
	c.Patient = fmt.Sprint("patient ", r.IntN(300))
	c.Age = quantity.Some(float64(r.IntN(90)))
	c.Weight = quantity.Some(quantity.Kilogram(3 + r.IntN(150)))
	c.KermaDoubt, c.KAPDoubt, c.TimeDoubt = doubt(), doubt(), doubt()
	c.Pregnant, c.Quality = r.IntN(80) == 0, r.IntN(50) == 0
	if r.IntN(10) == 0 {
		c.KAP = quantity.None[quantity.GraySquareMetre]()
	}
	if r.IntN(10) == 0 {
		c.PSD, c.PSDNone = quantity.None[quantity.Gray](), pick("no geometry", "no events")
	}
	c.State = pick("below", "below", "below", "unknown", "near")
	if v, ok := c.Kerma.Get(); ok && v >= 5 {
		reached(&c)
		c.Asks = []summary.Ask{
			{Kind: "inform", State: pick("open", "answered"), Due: c.Day, AnsweredOn: c.Day},
			{Kind: "month-check", State: pick("open", "answered"), Due: day.AddDate(0, 0, 33).Format(time.DateOnly), AnsweredOn: day.AddDate(0, 0, r.IntN(50)).Format(time.DateOnly)},
		}
		c.Reactions = []summary.Reaction{{Day: day.AddDate(0, 0, 12).Format(time.DateOnly), Grade: r.IntN(3)}}
	}
	return c
}

func printed(t require.TestingT, in summary.Input) string {
	in.Period.Name, in.AsOf = october, "2026-11-02"
	s, err := summary.Summarise(in, summary.DefaultSettings())
	require.NoError(t, err)
	text, err := json.Marshal(s)
	require.NoError(t, err)
	return string(text)
}

// TestOrderLeavesNoTrace has every list of the input in another order.
func TestOrderLeavesNoTrace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := summary.Input{
			Cases:   drawn(t),
			Meters:  []summary.Meter{{Room: "Cath 2", Device: "a"}, {Room: "Cath 2", Device: "b", Checked: true}, {Room: "Neuro 4", Device: "c"}},
			Actions: []summary.Action{{ID: "1", Opened: "2026-10-02"}, {ID: "2", Opened: "2026-10-02"}, {ID: "3", Opened: "2026-09-02"}},
			Baselines: []trend.Baseline{
				{Key: "x-mr|kap_gy_cm2|neuro|device of Neuro 4", Kind: trend.ValueAndRange, Centre: 3, MovingRange: 0.4, FrozenOn: "2026-01-01"},
				{Key: "x-mr|kap_gy_cm2|neuro|device of Neuro 4", Kind: trend.ValueAndRange, Centre: 4, MovingRange: 0.4, FrozenOn: "2026-02-01"},
			},
		}
		for i := range 40 {
			in.Performed = append(in.Performed, summary.Performed{Day: fmt.Sprintf("2026-10-%02d", 1+i%28), Room: "Cath 2", Arrived: i%7 != 0, Why: fmt.Sprint(i % 3)})
		}
		want := printed(t, in)
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "order"), 2))
		shuffle(r, in.Cases)
		shuffle(r, in.Performed)
		shuffle(r, in.Meters)
		shuffle(r, in.Actions)
		shuffle(r, in.Baselines)
		for i := range in.Cases {
			shuffle(r, in.Cases[i].Asks)
			shuffle(r, in.Cases[i].Reactions)
			shuffle(r, in.Cases[i].Operators)
		}
		assert.Equal(t, want, printed(t, in))
	})
}

func shuffle[T any](r *rand.Rand, list []T) {
	r.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
}

// TestAbsentMovesNothing adds cases whose numbers are absent, a part or not believed: no percentile changes.
func TestAbsentMovesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cases := drawn(t)
		before := numbersOf(t, cases)
		for i := range rapid.IntRange(1, 5).Draw(t, "more") {
			c := oneCase(9000+i, "2026-10-30", kap(rapid.Float64Range(0, 1e6).Draw(t, "kap")))
			c.Class = rapid.SampledFrom([]string{"coronary_diagnostic", "neuro", "aortic_complex"}).Draw(t, "class")
			c.Kerma, c.PSD, c.Effective = quantity.None[quantity.Gray](), quantity.None[quantity.Gray](), quantity.None[quantity.Sievert]()
			c.FluoroTime, c.ImagesDoubt = quantity.None[quantity.Second](), summary.DoubtSuspect
			c.KAPDoubt = rapid.SampledFrom([]summary.Doubt{summary.DoubtPart, summary.DoubtSuspect}).Draw(t, "doubt")
			cases = append(cases, c)
		}
		after := numbersOf(t, cases)
		for key, want := range before {
			assert.Equal(t, want, after[key], key)
		}
	})
}

type numbers struct {
	n                     int
	low, median, p75, p90 *statistic.Quantile
	least, most           quantity.Opt[float64]
}

func numbersOf(t require.TestingT, cases []summary.Case) map[string]numbers {
	s, err := summary.Summarise(summary.Input{Period: summary.Period{Name: october}, AsOf: "2026-11-02", Cases: cases}, summary.DefaultSettings())
	require.NoError(t, err)
	out := map[string]numbers{}
	for _, c := range s.Classes {
		for _, one := range c.All.Statistics {
			out[c.Class+" "+one.Quantity] = numbers{one.N, one.P25, one.Median, one.P75, one.P90, one.Min, one.Max}
		}
	}
	return out
}

// TestSharesAddUp has the sums that must hold between the numbers of one summary, and what never leaves the department.
func TestSharesAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, err := summary.Summarise(summary.Input{Period: summary.Period{Name: october}, AsOf: "2026-11-02", Cases: drawn(t)}, summary.DefaultSettings())
		require.NoError(t, err)
		n := s.Counts
		assert.Equal(t, n.Cases, n.Adults+n.Children+n.Pregnant)
		sums, shares := map[string]int{}, map[string]float64{}
		for _, v := range s.Volume {
			sums[v.By] += v.Cases
			shares[v.By] += v.Share.Or(0)
		}
		for by, sum := range sums {
			if by != "operator" && n.Cases > 0 {
				assert.Equal(t, n.Cases, sum, by)
				assert.InDelta(t, 1, shares[by], 1e-12, by) // a dozen roundings
			}
		}
		adults := 0
		for _, c := range s.Classes {
			adults += c.All.Cases
			checkGroup(t, c.All)
			for _, p := range c.Parts {
				for _, g := range p.Groups {
					checkGroup(t, g)
				}
			}
		}
		assert.Equal(t, n.Adults, adults)
		rate := s.Substantial.Rate
		assert.Equal(t, n.Cases, rate.N+rate.Unknown)
		for i := 1; i < len(s.Crossings); i++ {
			assert.LessOrEqual(t, s.Crossings[i].Cases.X, s.Crossings[i-1].Cases.X)
		}
		for _, v := range summary.Leaving(s).Volume {
			assert.True(t, v.Cases == 0 || v.Cases >= statistic.LeastLeaving)
		}
	})
}

func checkGroup(t require.TestingT, g summary.Group) {
	for _, s := range g.Statistics {
		left := 0
		for _, l := range s.LeftOut {
			left += l.Cases
		}
		assert.Equal(t, g.Cases, s.Of, "every case is in a statistic or said to be left out")
		assert.Equal(t, s.Of, s.N+left)
		quantiles := []float64{}
		for _, q := range []*statistic.Quantile{s.P10, s.P25, s.Median, s.P75, s.P90, s.P95} {
			if q != nil {
				quantiles = append(quantiles, q.Value)
				low, high := q.Low.Or(q.Value), q.High.Or(q.Value)
				assert.True(t, low <= q.Value && q.Value <= high, "a percentile lies in its interval")
			}
		}
		assert.True(t, slices.IsSorted(quantiles))
	}
}
