package ingest_test

import (
	"bytes"
	"fmt"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/ingest"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
)

// large gives reports of some 0.8 MB, each of its own.
func large(b *testing.B, n int) [][]byte {
	b.Helper()
	base := renamed(scene(b, "cath2-coronary-total-occlusion", 75), 0)
	all := make([][]byte, n)
	for i := range all {
		all[i] = written(b, withInstance(base, i))
	}
	require.InDelta(b, 0.8e6, len(all[0]), 0.05e6, "the size that the goal is set for")
	return all
}

func withInstance(r procedure.Report, n int) procedure.Report {
	r.SOPInstanceUID = fmt.Sprintf("2.25.7200.%d", n)
	return r
}

// BenchmarkKeep has eight senders make reports of 0.8 MB durable: bytes, folder, receipt, job and audit record of each.
// The goal is 50 a second, reading excluded.
func BenchmarkKeep(b *testing.B) {
	const each = 32
	bodies := large(b, each)
	b.SetBytes(int64(len(bodies[0])))
	r := newRig(b)
	var count atomic.Int64
	b.SetParallelism(4)
	begun := processorTime(b)
	b.RunParallel(func(pb *testing.PB) {
		for pb.Next() {
			n := int(count.Add(1))
			// Each is an object of its own, by an instance UID of the same length.
			body := bytes.ReplaceAll(bodies[n%each], fmt.Appendf(nil, "2.25.7200.%d", n%each), fmt.Appendf(nil, "2.25.%04d.%d", 1000+n/each%9000, n%each))
			_, answer, err := r.keeper.Keep(b.Context(), store.System("bench"), "bench", bytes.NewReader(body))
			require.NoError(b, err)
			require.Equal(b, ingest.Stored, answer)
		}
	})
	tell(b, begun)
}

// BenchmarkReadAndEstimate reads reports of 100 events and estimates their procedures on maps of full fineness, as the
// workers of the pipeline do it, without the store. The goal is 10 a second on two cores.
func BenchmarkReadAndEstimate(b *testing.B) {
	body := written(b, scene(b, "cath2-coronary-total-occlusion", 100))
	method := assessment.Default()
	begun := processorTime(b)
	b.RunParallel(func(pb *testing.PB) {
		for pb.Next() {
			r, err := rdsr.Read(body, rdsr.Options{})
			require.NoError(b, err)
			a := method.Assess(procedure.Merge([]procedure.Report{*r})[0], procedure.Facts{})
			require.NotNil(b, a.SkinDose.Map)
		}
	})
	tell(b, begun)
}

// processorTime is the time that this process has had the processors for.
func processorTime(b *testing.B) time.Duration {
	b.Helper()
	b.ResetTimer()
	var use syscall.Rusage
	require.NoError(b, syscall.Getrusage(syscall.RUSAGE_SELF, &use))
	return time.Duration(use.Utime.Nano() + use.Stime.Nano())
}

// tell gives the rate as it was, and the processor time of each report, which other work on the machine does not change.
func tell(b *testing.B, begun time.Duration) {
	b.Helper()
	elapsed := b.Elapsed()
	var use syscall.Rusage
	require.NoError(b, syscall.Getrusage(syscall.RUSAGE_SELF, &use))
	spent := time.Duration(use.Utime.Nano()+use.Stime.Nano()) - begun
	b.ReportMetric(float64(b.N)/elapsed.Seconds(), "reports/s")
	b.ReportMetric(spent.Seconds()*1000/float64(b.N), "cpu-ms/report")
}

// BenchmarkPipeline sends reports of 100 events the whole way, from kept bytes to flags in the store.
func BenchmarkPipeline(b *testing.B) {
	base := scene(b, "cath2-coronary-total-occlusion", 100)
	r := newRig(b)
	r.pipeline.Method.MaxPatch = 0
	bodies := make([][]byte, b.N)
	for n := range bodies {
		bodies[n] = written(b, renamed(base, n))
	}
	begun := processorTime(b)
	for _, body := range bodies {
		r.keep(b, body)
		r.work(b)
	}
	tell(b, begun)
}
