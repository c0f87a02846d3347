package ingest_test

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
)

// TestReviewsDoNotDependOnOrder sends one content under two headers, the first also in another encoding.
func TestReviewsDoNotDependOnOrder(t *testing.T) {
	first := scene(t, stageOne, 3)
	second := first
	second.SOPInstanceUID = "2.25.7200.99"
	var encoded bytes.Buffer
	require.NoError(t, rdsr.Write(&encoded, &first, rdsr.WriteOptions{TransferSyntax: dicomio.ImplicitLittleEndian}))
	sent := [][]byte{written(t, first), written(t, second), encoded.Bytes()}
	for _, order := range [][]int{{0, 1, 2}, {0, 2, 1}, {1, 0, 2}, {1, 2, 0}, {2, 0, 1}, {2, 1, 0}} {
		r := newRig(t)
		for _, i := range order {
			r.keep(t, sent[i])
			r.work(t) // one after the other
		}
		reviews, err := r.db.Reviews(t.Context(), "", 10)
		require.NoError(t, err)
		assert.Len(t, reviews, 1, "order %v", order)
	}
}
