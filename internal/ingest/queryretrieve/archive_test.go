package queryretrieve_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest/queryretrieve"
)

// TestArchive fills an empty store from DCMTK's archive by both ways; a second run asks for nothing.
func TestArchive(t *testing.T) {
	for _, by := range []queryretrieve.By{queryretrieve.ByGet, queryretrieve.ByMove} {
		t.Run(string(by), func(t *testing.T) {
			r := newRig(t)
			address, all := archive(t, r.door, 12, 4)
			cfg := r.config(address)
			cfg.By = by
			counts, err := queryretrieve.Run(t.Context(), cfg, period(t, 4))
			require.NoError(t, err, r.log)
			assert.Equal(t, queryretrieve.Counts{Days: 4, Studies: len(all), Reports: len(all), Got: len(all)}, counts)
			assert.Empty(t, r.lacking(t))
			want := map[string]int{}
			for _, one := range all {
				want[one.instance] = 1
			}
			assert.Equal(t, want, r.receipts(t))
			start := time.Now()
			counts, err = queryretrieve.Run(t.Context(), cfg, period(t, 4))
			require.NoError(t, err)
			assert.Equal(t, queryretrieve.Counts{Days: 4, DaysBefore: 4}, counts, "after %v", time.Since(start))
		})
	}
}
