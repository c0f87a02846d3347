package beam_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/quantity"
)

var benchQuality = beam.Quality{Voltage: 80, Aluminium: 3, Copper: 0.3}

func BenchmarkNew(b *testing.B) {
	for b.Loop() {
		_, err := beam.New(benchQuality)
		require.NoError(b, err)
	}
}

// BenchmarkScatter is one new beam with its backscatter: the work per distinct beam of a report.
func BenchmarkScatter(b *testing.B) {
	newBeam(b, 80, 3, 0).Scatter() // the tables of the kernel
	for b.Loop() {
		q, err := beam.New(benchQuality)
		require.NoError(b, err)
		q.Scatter()
	}
}

// BenchmarkMap is the backscatter and the table of 1,000 events at 300 patches each.
func BenchmarkMap(b *testing.B) {
	q := newBeam(b, 80, 3, 0.3)
	s, p := q.Scatter(), q.Paths(lightTable())
	sum := 0.0
	for b.Loop() {
		for i := range 300_000 {
			x := quantity.Millimetre(i % 131)
			sum += s.At(x, 130-x, 40, 60) * p.Transmission(1+float64(i%100)/100)
		}
	}
	require.Positive(b, sum)
}
