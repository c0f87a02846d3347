package store_test

import (
	"context"
	"io"
	"os"
	"regexp"
	"runtime/debug"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/export/listing"
	"afterbeam/internal/export/table"
	"afterbeam/internal/store"
)

// A table of 1,000,000 procedures is written in less than a minute, by a process that holds less than 300 MB meanwhile.
func BenchmarkExport(b *testing.B) {
	procedures, full := 5_000, false
	if os.Getenv("AFTERBEAM_BENCH") == "full" { // as make bench asks for
		procedures, full = 1_000_000, true
	}
	g := generate(b, procedures)
	_, err := g.db.MakeSummaryRows(context.Background(), store.System("bench"), "the invented site writes beside the store")
	require.NoError(b, err)
	g.patients = nil
	debug.FreeOSMemory()
	for _, identified := range []bool{false, true} {
		b.Run(map[bool]string{false: "without identifiers", true: "identified"}[identified], func(b *testing.B) {
			for b.Loop() {
				// The most that the process held is counted from here: Linux, proc(5).
				require.NoError(b, os.WriteFile("/proc/self/clear_refs", []byte("5"), 0))
				started := time.Now()
				digest, err := listing.Procedures(context.Background(), io.Discard, g.db, listing.Ask{
					Filter: store.SummaryFilter{To: "9999-12-31"}, Identified: identified, Format: table.Machine,
				})
				took := time.Since(started)
				if err != nil || digest.Rows != procedures {
					b.Fatal(digest, err)
				}
				held := mostHeld(b)
				b.ReportMetric(float64(held)/1000, "MB-most")
				b.ReportMetric(float64(procedures)/took.Seconds(), "rows/s")
				if full && (took > time.Minute || held > 300_000) {
					b.Errorf("%v and %d kB, wanted under a minute and 300,000 kB", took, held)
				}
			}
		})
	}
}

// mostHeld gives the most memory that the process held, in kB.
func mostHeld(tb testing.TB) int {
	tb.Helper()
	status, err := os.ReadFile("/proc/self/status")
	require.NoError(tb, err)
	found := regexp.MustCompile(`VmHWM:\s+(\d+) kB`).FindSubmatch(status)
	require.NotNil(tb, found)
	kB, err := strconv.Atoi(string(found[1]))
	require.NoError(tb, err)
	return kB
}
