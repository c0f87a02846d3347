package skindose_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// longCase is so many events of an invented aortic repair: angles, fields and tube voltages as in such cases.
func longCase(depth float64, events int) []exposure.Shot {
	r := rand.New(rand.NewPCG(11, 7))
	table := under(depth, 350)
	list := make([]exposure.Shot, events)
	for i := range list {
		between := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
		list[i] = aimed(i, between(0.001, 0.02), between(-50, 50), between(-25, 25), between(250, 420), between(90, 220),
			math.Round(between(65, 110)), []float64{0, 0.1, 0.3, 0.6, 0.9}[r.IntN(5)])
		list[i].Table = table
	}
	return list
}

// cases are the sizes a range and a map are timed at: events of the long case.
var cases = []int{100, 1000, 5000}

func BenchmarkMap(b *testing.B) {
	adult, err := body.New(body.Size{Height: quantity.Some[quantity.Millimetre](1786), Weight: quantity.Some[quantity.Kilogram](73)}, 1)
	require.NoError(b, err)
	for _, n := range cases {
		b.Run(fmt.Sprintf("%d_events", n), func(b *testing.B) {
			list := longCase(100, n)
			_, err = skindose.Irradiate(list[:1], adult, beam.SoftTissue) // the tables are read once a process
			require.NoError(b, err)
			b.ReportAllocs()
			before := processor(b)
			for b.Loop() {
				m, err := skindose.Irradiate(list, adult, beam.SoftTissue)
				if err != nil || m.Peak < 0 {
					b.Fatal(err)
				}
			}
			spent := processor(b) - before
			b.ReportMetric(1e3*spent.Seconds()/float64(b.N), "cpu-ms")
			b.ReportMetric(float64(len(adult.Patches)*n*b.N)/spent.Seconds(), "patches*events/cpu-s")
		})
	}
}

func BenchmarkRange(b *testing.B) {
	adult, err := body.New(body.Size{Height: quantity.Some[quantity.Millimetre](1786), Weight: quantity.Some[quantity.Kilogram](73)}, 1)
	require.NoError(b, err)
	for _, n := range cases {
		b.Run(fmt.Sprintf("%d_events", n), func(b *testing.B) {
			list := longCase(100, n)
			m, err := skindose.Irradiate(list, adult, beam.SoftTissue)
			require.NoError(b, err)
			b.ReportAllocs()
			before := processor(b)
			for b.Loop() {
				if _, err := skindose.Sample(list, m, beam.SoftTissue, typicalDoubt, skindose.Points); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric((processor(b)-before).Seconds()/float64(b.N), "cpu-s")
		})
	}
}

// processor is the time the process has had on all processors: what others do on the machine is not in it.
func processor(b *testing.B) time.Duration {
	b.Helper()
	var used syscall.Rusage
	require.NoError(b, syscall.Getrusage(syscall.RUSAGE_SELF, &used))
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}
