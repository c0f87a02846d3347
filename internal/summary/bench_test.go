package summary_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"afterbeam/internal/summary"
)

// BenchmarkSummarise sums up from 100,000 cases of ten years: the last month with the ten years as history, the last
// year, and all ten years as one period.
func BenchmarkSummarise(b *testing.B) {
	r := rand.New(rand.NewPCG(20261101, 3))
	in := summary.Input{AsOf: "2026-11-02", Cases: make([]summary.Case, 100_000)}
	first := time.Date(2017, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range in.Cases {
		in.Cases[i] = invented(r, i, first.AddDate(0, 0, r.IntN(3591))) // to October 2026
	}
	for _, period := range []string{october, "2026", "2017--2026"} {
		b.Run(fmt.Sprint("period=", period), func(b *testing.B) {
			in.Period.Name = period
			for b.Loop() {
				if _, err := summary.Summarise(in, summary.DefaultSettings()); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(len(in.Cases))*float64(b.N)/b.Elapsed().Seconds(), "cases/s")
		})
	}
}
