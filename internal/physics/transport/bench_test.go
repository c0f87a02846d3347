package transport_test

import (
	"context"
	"fmt"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/transport"
)

// processor is the time in s that this process has used on all cores: a rate by it hardly feels what else the machine does.
func processor(b *testing.B) float64 {
	var use syscall.Rusage
	require.NoError(b, syscall.Getrusage(syscall.RUSAGE_SELF, &use))
	return float64(use.Utime.Nano()+use.Stime.Nano()) / 1e9
}

// BenchmarkSlab states histories per second on one core in 20 cm of water, field 10 x 10 cm, focus at 60 cm.
func BenchmarkSlab(b *testing.B) {
	world := slab(b, 600, layer{beam.Water, 200})
	for _, kev := range []float64{30, 60, 100} {
		b.Run(fmt.Sprintf("%gkeV", kev), func(b *testing.B) {
			const histories = 50_000
			plan := transport.Plan{World: world, Source: fromAbove(600, 100, mono(kev)), Histories: histories, Seed: 1}
			before := processor(b)
			for b.Loop() {
				_, err := transport.Run(context.Background(), plan, 1)
				require.NoError(b, err)
			}
			b.ReportMetric(histories*float64(b.N)/(processor(b)-before), "histories/s/core")
		})
	}
}
