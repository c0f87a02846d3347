package ingest_test

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// runs gives a study as some equipment sends it: one report for each run, a cumulative one at the end, the cumulative one
// once more under another UID, and a later one that corrects an event.
func runs(r procedure.Report) []procedure.Report {
	var all []procedure.Report
	const parts = 3
	n := len(r.Events)
	for i := range parts {
		part := cut(r, i*n/parts, (i+1)*n/parts, fmt.Sprintf("%s.%d", r.SOPInstanceUID, i+1))
		part.Scope, part.ScopeUID = procedure.ScopeSeries, fmt.Sprintf("2.25.61.%d", i)
		part.Content.Time = r.Content.Time.Add(time.Duration(i-10) * time.Minute)
		all = append(all, part)
	}
	all = append(all, r)
	resent := r
	resent.SOPInstanceUID += ".8"
	all = append(all, resent)
	corrected := cut(r, 0, n, r.SOPInstanceUID+".9")
	corrected.Events[1].KAP = quantity.Some(corrected.Events[1].KAP.Or(0) * 1.5)
	corrected = cut(corrected, 0, n, "")
	corrected.Content.Time = r.Content.Time.Add(10 * time.Minute)
	return append(all, corrected)
}

// deliveries are the reports of three studies: two stages of one patient within 60 days, and a case on two planes.
func deliveries(t *testing.T) [][]byte {
	t.Helper()
	var all [][]byte
	for _, r := range []procedure.Report{scene(t, stageOne, 9), scene(t, stageTwo, 9), scene(t, ablation, 12)} {
		for _, one := range runs(r) {
			all = append(all, written(t, one))
		}
	}
	return all
}

// TestOneStateForEveryOrder is reliability case F11: whatever the order, the repetitions and the number of workers, the
// store ends in one state.
func TestOneStateForEveryOrder(t *testing.T) {
	all := deliveries(t)
	r := newRig(t)
	for _, content := range all {
		r.keep(t, content)
	}
	r.settle(t)
	want := r.hash(t)
	require.Len(t, r.cases(t), 3)

	const orders = 6
	for order := range orders {
		t.Run(fmt.Sprintf("order %d", order), func(t *testing.T) {
			chance := rand.New(rand.NewPCG(uint64(order), 11))
			r := newRig(t)
			shuffled := append([][]byte(nil), all...)
			for range 5 { // some come twice
				shuffled = append(shuffled, all[chance.IntN(len(all))])
			}
			chance.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
			r.pipeline.Workers = 1 + order%4
			ctx, stop := context.WithCancel(t.Context())
			var running sync.WaitGroup
			if order%2 == 0 { // while reports arrive
				running.Go(func() { r.pipeline.Run(ctx) })
			}
			for _, content := range shuffled {
				r.keep(t, content)
				if order%2 == 1 && chance.IntN(2) == 0 { // between reports
					_, err := r.pipeline.Step(t.Context(), "test")
					require.NoError(t, err)
				}
			}
			if order%2 == 0 {
				require.Eventually(t, func() bool {
					b, err := r.db.Backlog(t.Context())
					return err == nil && b.Waiting == 0
				}, time.Minute, 10*time.Millisecond)
			}
			stop()
			running.Wait()
			r.settle(t)
			assert.Equal(t, want, r.hash(t))
		})
	}
}

// TestTotalsAreTheTruth compares with what the events were made to add up to.
func TestTotalsAreTheTruth(t *testing.T) {
	r := newRig(t)
	whole := scene(t, stageOne, 9)
	all := runs(whole)
	for i := range all {
		r.send(t, all[len(all)-1-i])
		r.work(t)
	}
	var kerma, kap float64
	for _, e := range all[len(all)-1].Events {
		kerma += float64(e.RefKerma.Or(0))
		kap += float64(e.KAP.Or(0))
	}
	v := r.the(t, whole.StudyUID)
	const digits = 1e-6 // relative: numbers are written with up to 16 characters (PS3.5 DS)
	assert.InEpsilon(t, kerma, float64(v.Case.Kerma.Or(0)), digits)
	assert.InEpsilon(t, kap, float64(v.Case.KAP.Or(0)), digits)
	assert.Equal(t, "amended", v.Case.State, "an event was corrected")
}

// TestTheSameBytesCountOnce is reliability case F9.
func TestTheSameBytesCountOnce(t *testing.T) {
	r := newRig(t)
	content := written(t, scene(t, stageOne, 4))
	var senders sync.WaitGroup
	answers := make(chan ingest.Answer, 40)
	ids := make(chan string, 40)
	for range 8 {
		senders.Go(func() {
			for range 5 {
				receipt, answer, err := r.keeper.Keep(t.Context(), store.System("test"), "test", bytes.NewReader(content))
				assert.NoError(t, err)
				answers <- answer
				ids <- receipt.ID
			}
		})
	}
	senders.Wait()
	close(answers)
	close(ids)
	count := map[ingest.Answer]int{}
	for a := range answers {
		count[a]++
	}
	assert.Equal(t, map[ingest.Answer]int{ingest.Stored: 1, ingest.Again: 39}, count)
	known := map[string]bool{}
	for id := range ids {
		known[id] = true
	}
	assert.Len(t, known, 1, "every sender gets the same receipt")
	r.settle(t)
	assert.Len(t, r.cases(t), 1)
	v, err := r.db.Verify(t.Context(), nil)
	require.NoError(t, err)
	assert.True(t, v.Sound())
	assert.Equal(t, 1, v.Objects)
}

// TestOtherContentUnderOneUID is reliability case F10: both are kept, the earlier content counts, somebody is to look.
func TestOtherContentUnderOneUID(t *testing.T) {
	first := scene(t, stageOne, 4)
	other := cut(first, 0, 3, "")
	other.Content.Time = first.Content.Time.Add(time.Minute)
	var hashes []string
	for _, order := range [][]procedure.Report{{first, other}, {other, first}, {first, other, first}, {other, first, other}} {
		r := newRig(t)
		r.send(t, order...)
		r.settle(t)
		v := r.the(t, first.StudyUID)
		var kerma float64
		for _, e := range first.Events {
			kerma += float64(e.RefKerma.Or(0))
		}
		assert.InEpsilon(t, kerma, float64(v.Case.Kerma.Or(0)), 1e-6) // as above
		assert.Contains(t, string(v.Summary), "sop-uid-reused")
		reviews, err := r.db.Reviews(t.Context(), "", 10)
		require.NoError(t, err)
		require.Len(t, reviews, 1)
		assert.Equal(t, store.ReviewSameInstance, reviews[0].Kind)
		read, err := r.db.Receipts(t.Context(), store.ReceiptRead, "", 10)
		require.NoError(t, err)
		assert.Len(t, read, 2, "both are kept and read")
		hashes = append(hashes, r.hash(t))
	}
	for _, hash := range hashes[1:] {
		assert.Equal(t, hashes[0], hash)
	}
}
