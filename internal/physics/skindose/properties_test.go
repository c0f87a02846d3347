package skindose_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// aimed is a C-arm beam at a place of the body: angles in degrees, field in mm at the isocentre.
func aimed(event int, kerma, primary, secondary, height, width, kv, copper float64) exposure.Shot {
	const siso = 785.0
	sinA, cosA := math.Sincos(primary * math.Pi / 180)
	sinB, cosB := math.Sincos(secondary * math.Pi / 180)
	toward := r3.Vec{X: sinA * cosB, Y: -cosA * cosB, Z: sinB}
	return exposure.Shot{
		Event: event, Kerma: quantity.Gray(kerma), RefDistance: siso - 150,
		Focus: r3.Add(r3.Vec{Z: height}, r3.Scale(-siso, toward)), Toward: toward,
		Across: r3.Vec{X: cosA, Y: sinA}, Along: r3.Vec{X: -sinA * sinB, Y: cosA * sinB, Z: cosB},
		HalfWidth: width / 2 / siso, HalfHeight: width / 2 / siso,
		Quality: beam.Quality{Voltage: quantity.Kilovolt(kv), Aluminium: 3, Copper: quantity.Millimetre(copper)},
	}
}

// under is the usual table under a supine body whose back lies depth mm behind its axis.
func under(depth, height float64) *exposure.Table {
	t := carbon(beam.Layer{Material: beam.CarbonFibre, Mass: 0.39}, beam.Layer{Material: beam.Foam, Mass: 0.15})
	t.Centre = r3.Vec{Y: depth, Z: height}
	return t
}

func shots(t *rapid.T, most int) []exposure.Shot {
	table := under(100, 350)
	n := rapid.IntRange(1, most).Draw(t, "shots")
	list := make([]exposure.Shot, n)
	for i := range list {
		draw := func(name string, low, high float64) float64 { return rapid.Float64Range(low, high).Draw(t, name) }
		list[i] = aimed(i, draw("kerma", 0, 2), draw("primary", -110, 110), draw("secondary", -45, 45),
			draw("height", 100, 600), draw("field", 30, 300), draw("kv", 50, 125), rapid.SampledFrom([]float64{0, 0.1, 0.3, 0.9}).Draw(t, "copper"))
		if rapid.Bool().Draw(t, "table") {
			list[i].Table = table
		}
	}
	return list
}

func coarse(t require.TestingT) *body.Body {
	b, err := body.New(body.Size{}, 4)
	require.NoError(t, err)
	return b
}

func TestDoseAddsOverEvents(t *testing.T) {
	b := coarse(t)
	rapid.Check(t, func(t *rapid.T) {
		list := shots(t, 8)
		cut := rapid.IntRange(0, len(list)).Draw(t, "cut")
		whole, err := skindose.Irradiate(list, b, beam.SoftTissue)
		require.NoError(t, err)
		first, err := skindose.Irradiate(list[:cut], b, beam.SoftTissue)
		require.NoError(t, err)
		second, err := skindose.Irradiate(list[cut:], b, beam.SoftTissue)
		require.NoError(t, err)
		sum, err := skindose.Accumulate(first, second)
		require.NoError(t, err)
		for i := range whole.Dose {
			want := float64(whole.Dose[i])
			assert.InDelta(t, want, float64(sum.Dose[i]), 1e-12*want) // eight additions in another order
		}
	})
}

func TestDoseScalesWithKerma(t *testing.T) {
	b := coarse(t)
	rapid.Check(t, func(t *rapid.T) {
		list := shots(t, 6)
		by := rapid.Float64Range(0.01, 100).Draw(t, "by")
		one, err := skindose.Irradiate(list, b, beam.SoftTissue)
		require.NoError(t, err)
		for i := range list {
			list[i].Kerma *= quantity.Gray(by)
		}
		more, err := skindose.Irradiate(list, b, beam.SoftTissue)
		require.NoError(t, err)
		for i := range one.Dose {
			want := by * float64(one.Dose[i])
			assert.InDelta(t, want, float64(more.Dose[i]), 1e-12*want) // roundings of one product and six additions
		}
	})
}

func TestOrderOfEventsChangesNoBit(t *testing.T) {
	b := coarse(t)
	rapid.Check(t, func(t *rapid.T) {
		list := shots(t, 8)
		one, err := skindose.Irradiate(list, b, beam.SoftTissue)
		require.NoError(t, err)
		again, err := skindose.Irradiate(slices.Clone(list), b, beam.SoftTissue)
		require.NoError(t, err)
		assert.Equal(t, one, again, "same input, same bits")
		shuffled := rapid.Permutation(list).Draw(t, "order")
		other, err := skindose.Irradiate(shuffled, b, beam.SoftTissue)
		require.NoError(t, err)
		assert.Equal(t, one.Dose, other.Dose)
		assert.Equal(t, one.Peak, other.Peak)
		assert.Equal(t, one.Contributions, other.Contributions)
	})
}

func TestDoseFallsWithDistance(t *testing.T) {
	flat := plane(200)
	rapid.Check(t, func(t *rapid.T) {
		near := rapid.Float64Range(300, 900).Draw(t, "near")
		far := near + rapid.Float64Range(1, 300).Draw(t, "further")
		side := rapid.Float64Range(40, 200).Draw(t, "field")
		at := func(distance float64) float64 {
			// The field at the skin is held, so that only the distance changes.
			m, err := skindose.Irradiate([]exposure.Shot{fromBelow(0, 0, 0, distance, side, side)}, flat, beam.SoftTissue)
			require.NoError(t, err)
			return float64(m.PeakDose())
		}
		assert.InEpsilon(t, at(near)*near*near/far/far, at(far), 1e-9) // inverse square, same B and f
	})
}

func TestCullingLosesNoPatch(t *testing.T) {
	b := coarse(t)
	single := *b
	single.Groups = nil
	for i := range b.Patches {
		single.Groups = append(single.Groups, body.Group{First: i, End: i + 1, Centre: b.Patches[i].Centre, Radius: 1e6, CosHalf: -1, Axis: r3.Vec{X: 1}})
	}
	rapid.Check(t, func(t *rapid.T) {
		list := shots(t, 4)
		culled, err := skindose.Irradiate(list, b, beam.SoftTissue)
		require.NoError(t, err)
		every, err := skindose.Irradiate(list, &single, beam.SoftTissue)
		require.NoError(t, err)
		assert.Equal(t, every.Dose, culled.Dose)
	})
}

func TestAreaAboveFallsWithDose(t *testing.T) {
	b := coarse(t)
	rapid.Check(t, func(t *rapid.T) {
		m, err := skindose.Irradiate(shots(t, 6), b, beam.SoftTissue)
		require.NoError(t, err)
		last := math.Inf(1)
		for _, d := range []quantity.Gray{0.001, 0.1, 1, 2, 3, 5} {
			area := m.AreaAbove(d).Cm2()
			assert.LessOrEqual(t, area, last)
			assert.Equal(t, m.PeakDose() >= d, area > 0)
			last = area
		}
	})
}
