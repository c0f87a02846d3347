package skindose_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// longCase is a thousand events of an invented aortic repair: angles, fields and tube voltages as in such cases.
func longCase(depth float64) []exposure.Shot {
	r := rand.New(rand.NewPCG(11, 7))
	table := under(depth, 350)
	list := make([]exposure.Shot, 1000)
	for i := range list {
		between := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
		list[i] = aimed(i, between(0.001, 0.02), between(-50, 50), between(-25, 25), between(250, 420), between(90, 220),
			math.Round(between(65, 110)), []float64{0, 0.1, 0.3, 0.6, 0.9}[r.IntN(5)])
		list[i].Table = table
	}
	return list
}

func BenchmarkIrradiateThousandEvents(b *testing.B) {
	adult, err := body.New(body.Size{Height: quantity.Some[quantity.Millimetre](1786), Weight: quantity.Some[quantity.Kilogram](73)}, 1)
	require.NoError(b, err)
	list := longCase(100)
	_, err = skindose.Irradiate(list[:1], adult, beam.SoftTissue) // the tables are read once a process
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		m, err := skindose.Irradiate(list, adult, beam.SoftTissue)
		if err != nil || m.Peak < 0 {
			b.Fatal(err)
		}
	}
}
