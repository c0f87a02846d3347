package transport_test

import (
	"context"
	"math"
	"runtime"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/transport"
)

// chest is a plan in the stylised body with all kinds of tallies.
func chest(t testing.TB, histories int) transport.Plan {
	t.Helper()
	w := phantom(t, transport.ArmsAlongside)
	_, source := organBeam(t, []string{"chest", "arms", "3", "75", "53", "3", "0", "53", "20", "20"}, tungsten(t, 80, 3, 0.3))
	return transport.Plan{
		World: w, Source: source, Second: marrow(w), Histories: histories, Block: 500, Seed: 20,
		Detectors: []transport.Detector{{
			At: r3.Vec{X: 30, Y: 100, Z: 530}, Normal: r3.Vec{Y: 1}, U: r3.Vec{X: 1}, V: r3.Vec{Z: 1},
			Circles: []float64{10, 50}, Squares: []float64{20}, Media: []beam.Material{beam.Air, beam.SoftTissue},
		}},
	}
}

func TestSameBitsOnAnyNumberOfWorkers(t *testing.T) {
	plan := chest(t, 10_300) // the last block is a short one
	one, err := transport.Run(context.Background(), plan, 1)
	require.NoError(t, err)
	for _, workers := range []int{2, 8, 0} {
		many, err := transport.Run(context.Background(), plan, workers)
		require.NoError(t, err)
		assert.Equal(t, one.Scores(), many.Scores(), "%d workers", workers)
	}
	plan.Seed++
	other, err := transport.Run(context.Background(), plan, 2)
	require.NoError(t, err)
	assert.NotEqual(t, one.Scores(), other.Scores(), "another seed")
}

// TestSeedsAgree looks at all regions with a fiftieth of the energy of the largest. 4 standard errors: some 20 comparisons.
func TestSeedsAgree(t *testing.T) {
	plan := chest(t, 30_000)
	first := run(t, plan)
	plan.Seed++
	second := run(t, plan)
	most := 0.0
	for i := range plan.World.Regions() {
		most = max(most, first.Total().Energy(i))
	}
	compared := 0
	for i, region := range plan.World.Regions() {
		energy := func(t transport.Tally) float64 { return t.Energy(i) / t.KAP() }
		a, b := first.Estimate(energy), second.Estimate(energy)
		if first.Total().Energy(i) < most/50 {
			continue
		}
		compared++
		assert.InDelta(t, a.Mean, b.Mean, 4*math.Hypot(a.Error, b.Error), region.Name)
	}
	assert.Greater(t, compared, 3)
}

func TestEnergyIsKept(t *testing.T) {
	r := run(t, chest(t, 20_000))
	total := r.Total()
	assert.Positive(t, total.Deposited())
	assert.Positive(t, total.Escaped())
	assert.InEpsilon(t, total.Incident(), total.Deposited()+total.Escaped(), 1e-12) // rounding of sums
}

// TestTwoEstimators: the energy that photons leave is the kerma at tentative interactions, in tissue without fluorescence.
func TestTwoEstimators(t *testing.T) {
	r := run(t, transport.Plan{
		World: slab(t, 300, layer{beam.Water, 150}), Source: fromAbove(600, 100, tungsten(t, 80, 3, 0)), Histories: 100_000, Seed: 21,
	})
	ratio := r.Estimate(func(t transport.Tally) float64 { return t.Energy(0) / t.Deposited() })
	assert.InDelta(t, 1, ratio.Mean, 0.002+3*ratio.Error) // 0.2 %: recoil energies of table and draw agree so well
	assert.Less(t, ratio.Error, 0.003)
}

// TestFreeInAir: without anything in the way kerma on the axis follows the inverse square, and the kerma-area product is the
// integral of cos2 over the field at any distance.
func TestFreeInAir(t *testing.T) {
	far, err := transport.NewMedium(beam.Water, 1)
	require.NoError(t, err)
	w, err := transport.NewWorld([]transport.Region{transport.Box("aside", far, r3.Vec{X: 5000}, r3.Vec{X: 5010, Y: 10, Z: 10})}, r3.Vec{})
	require.NoError(t, err)
	source := fromAbove(600, 300, tungsten(t, 80, 3, 0.3))
	r := run(t, transport.Plan{
		World: w, Source: source, Detectors: []transport.Detector{disc(0, 30, beam.Air), disc(600, 60, beam.Air)}, Histories: 200_000, Seed: 22,
	})
	kerma, err := transport.Kerma(source.Spectrum, beam.Air)
	require.NoError(t, err)
	onAxis := func(detector int, radius, distance float64) transport.Value {
		return r.Estimate(func(t transport.Tally) float64 {
			return t.Circle(transport.Crossing{Detector: detector}, 0) / (math.Pi * radius * radius) * (distance * distance)
		})
	}
	want := kerma / (4 * source.HalfWidth * source.HalfHeight)
	for i, d := range []struct{ radius, distance float64 }{{30, 600}, {60, 1200}} {
		got := onAxis(i, d.radius, d.distance)
		assert.InDelta(t, want, got.Mean, 0.003*want+3*got.Error) // 0.3 %: the disc's edge is farther and seen aslant
		assert.Zero(t, r.Total().Circle(transport.Crossing{Detector: i, Scattered: true}, 0))
	}
	cos2 := integral(func(s float64) float64 {
		return integral(func(u float64) float64 { return 1 / (1 + s*s + u*u) }, -0.25, 0.25, 40)
	}, -0.25, 0.25, 40) * 4
	assert.InEpsilon(t, kerma*cos2, r.Total().KAP(), 2e-4) // rays are spread evenly
	assert.Equal(t, r.Total().Incident(), r.Total().Escaped())
}

// TestMirror turns body and beam left to right: regions absorb the same within 4 standard errors of some 20 comparisons.
func TestMirror(t *testing.T) {
	plan := chest(t, 30_000)
	straight := run(t, plan)
	regions := plan.World.Regions()
	mirrored := make([]transport.Region, len(regions))
	for i, r := range regions {
		r.Low.X, r.High.X = -r.High.X, -r.Low.X
		r.Quadrics = append([]transport.Quadric(nil), r.Quadrics...)
		for k := range r.Quadrics {
			q := &r.Quadrics[k]
			q.X, q.XY, q.XZ = -q.X, -q.XY, -q.XZ
		}
		mirrored[i] = r
	}
	w, err := transport.NewWorld(mirrored, cell)
	require.NoError(t, err)
	plan.World, plan.Seed = w, 23
	plan.Source.Focus.X, plan.Source.Toward.X, plan.Source.Across.X = -plan.Source.Focus.X, -plan.Source.Toward.X, -plan.Source.Across.X
	turned := run(t, plan)
	compared := 0
	for i, region := range regions {
		energy := func(t transport.Tally) float64 { return t.Energy(i) }
		a, b := straight.Estimate(energy), turned.Estimate(energy)
		if a.Error > 0.03*a.Mean || a.Mean == 0 {
			continue
		}
		compared++
		assert.InDelta(t, a.Mean, b.Mean, 4*math.Hypot(a.Error, b.Error), region.Name)
	}
	assert.Greater(t, compared, 5)
}

func TestNoAllocationOnTheWay(t *testing.T) {
	plan := chest(t, 10_000)
	next, err := plan.Blocks()
	require.NoError(t, err)
	assert.Zero(t, testing.AllocsPerRun(20, next), "allocations per block of 500 histories")
}

func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := transport.Run(ctx, chest(t, 10_000), runtime.GOMAXPROCS(0))
	assert.ErrorIs(t, err, context.Canceled)
}

func TestImpossiblePlans(t *testing.T) {
	good := chest(t, 1000)
	tests := map[string]struct {
		spoil func(*transport.Plan)
		want  error
	}{
		"no world":               {func(p *transport.Plan) { p.World = nil }, transport.ErrPlan},
		"too few histories":      {func(p *transport.Plan) { p.Histories = 19 }, transport.ErrPlan},
		"too many histories":     {func(p *transport.Plan) { p.Histories = transport.MaxHistories + 1 }, transport.ErrPlan},
		"a negative block":       {func(p *transport.Plan) { p.Block = -1 }, transport.ErrPlan},
		"no photons":             {func(p *transport.Plan) { p.Source.Spectrum = nil }, transport.ErrSource},
		"photons too soft":       {func(p *transport.Plan) { p.Source.Spectrum = mono(4) }, transport.ErrSource},
		"photons too hard":       {func(p *transport.Plan) { p.Source.Spectrum = mono(151) }, transport.ErrSource},
		"an axis that is none":   {func(p *transport.Plan) { p.Source.Toward = r3.Vec{Y: -2} }, transport.ErrSource},
		"axes aslant":            {func(p *transport.Plan) { p.Source.Across = p.Source.Along }, transport.ErrSource},
		"a negative field":       {func(p *transport.Plan) { p.Source.HalfWidth = -1 }, transport.ErrSource},
		"no number for focus":    {func(p *transport.Plan) { p.Source.Focus.X = math.NaN() }, transport.ErrSource},
		"a detector without end": {func(p *transport.Plan) { p.Detectors[0].Circles, p.Detectors[0].Squares = nil, nil }, transport.ErrDetector},
		"falling radii":          {func(p *transport.Plan) { p.Detectors[0].Circles = []float64{5, 4} }, transport.ErrDetector},
		"a medium without data":  {func(p *transport.Plan) { p.Detectors[0].Media = []beam.Material{"cheese"} }, transport.ErrMaterial},
		"marrow without data":    {func(p *transport.Plan) { p.Second = map[string]beam.Material{"lungs": "cheese"} }, transport.ErrMaterial},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			p := good
			p.Detectors = append([]transport.Detector(nil), good.Detectors...)
			tt.spoil(&p)
			_, err := transport.Run(context.Background(), p, 1)
			assert.ErrorIs(t, err, tt.want)
		})
	}
}

// TestQuadricBounds: no value in a box lies outside the interval that settles the locator's cells.
func TestQuadricBounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) float64 { return rapid.Float64Range(-100, 100).Draw(t, name) }
		q := transport.Quadric{
			XX: draw("xx"), YY: draw("yy"), ZZ: draw("zz"), XY: draw("xy"), YZ: draw("yz"), XZ: draw("xz"),
			X: draw("x"), Y: draw("y"), Z: draw("z"), C: draw("c"),
		}
		side := func(name string) float64 { return rapid.Float64Range(0, 20).Draw(t, name) }
		low := r3.Vec{X: draw("low x"), Y: draw("low y"), Z: draw("low z")}
		size := r3.Vec{X: side("size x"), Y: side("size y"), Z: side("size z")}
		part := func(name string) float64 { return rapid.Float64Range(0, 1).Draw(t, name) }
		p := r3.Add(low, r3.Vec{X: part("u") * size.X, Y: part("v") * size.Y, Z: part("w") * size.Z})
		least, most := q.Over(low, r3.Add(low, size))
		v := q.Value(p)
		const rounding = 1e-12 * 1e7 // of terms up to 100 * 120 * 120
		if v < least-rounding || v > most+rounding {
			t.Fatalf("value %v at %v outside %v to %v", v, p, least, most)
		}
	})
}

func TestStreams(t *testing.T) {
	const n = 100_000
	seen := map[float64]bool{}
	for block := range uint64(4) {
		r := transport.NewRandom(1, block)
		first := r.Uniform()
		assert.False(t, seen[first], "two blocks begin alike")
		seen[first] = true
		sum, squares := 0.0, 0.0
		for range n {
			u := r.Uniform()
			require.True(t, u >= 0 && u < 1)
			sum += u
			squares += u * u
		}
		assert.InDelta(t, 0.5, sum/n, 4*math.Sqrt(1.0/12/n))       // 4 standard errors
		assert.InDelta(t, 1.0/3, squares/n, 4*math.Sqrt(4.0/45/n)) // likewise
	}
}
