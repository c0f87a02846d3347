package ingest_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// TestTotalsDoNotDependOnOrder draws reports of a few studies and patients, with repetitions, overlaps and corrections,
// and sends them in two orders with work in between: the store says the same.
func TestTotalsDoNotDependOnOrder(t *testing.T) {
	base := scene(t, stageOne, 6)
	const most = 12 // draws: each makes two stores on the disk
	draws := 0
	rapid.Check(t, func(rt *rapid.T) {
		if draws++; draws > most {
			return
		}
		var all [][]byte
		for i := range rapid.IntRange(2, 6).Draw(rt, "reports") {
			from := rapid.IntRange(0, 4).Draw(rt, "from")
			report := cut(base, from, rapid.IntRange(from+1, 6).Draw(rt, "to"), fmt.Sprintf("2.25.50.%d", rapid.IntRange(0, i).Draw(rt, "instance")))
			report.StudyUID = rapid.SampledFrom([]string{"2.25.40.1", "2.25.40.2"}).Draw(rt, "study")
			report.Patient.ID = rapid.SampledFrom([]string{"A", "A", "B"}).Draw(rt, "patient")
			report.Scope = rapid.SampledFrom([]procedure.Scope{procedure.ScopeStudy, procedure.ScopeToThisPoint, procedure.ScopeSeries}).Draw(rt, "scope")
			report.ScopeUID = "2.25.51.1"
			report.Device.UID = rapid.SampledFrom([]string{"2.25.30.1", "2.25.30.1", "2.25.30.2"}).Draw(rt, "device")
			report.Content.Time = base.Content.Time.Add(time.Duration(rapid.IntRange(0, 3).Draw(rt, "minutes")) * time.Minute)
			if rapid.Bool().Draw(rt, "other values") {
				report.Events[0].RefKerma = quantity.Some(report.Events[0].RefKerma.Or(0) * 2)
			}
			all = append(all, written(t, report))
		}
		orders := [][]int{make([]int, len(all)), rapid.Permutation(indices(len(all))).Draw(rt, "order")}
		copy(orders[0], indices(len(all)))
		var hashes []string
		for _, order := range orders {
			r := newRig(t)
			for _, i := range order {
				r.keep(t, all[i])
				if rapid.Bool().Draw(rt, "work between") {
					r.work(t)
				}
			}
			r.settle(t)
			hashes = append(hashes, r.hash(t))
		}
		require.Equal(rt, hashes[0], hashes[1])
	})
}

func indices(n int) []int {
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	return all
}
