package queryretrieve_test

import (
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest/queryretrieve"
	"afterbeam/internal/store"
)

// TestArchive fills an empty store from DCMTK's archive by both ways; a second run asks for nothing.
func TestArchive(t *testing.T) {
	for _, by := range []queryretrieve.By{queryretrieve.ByGet, queryretrieve.ByMove} {
		t.Run(string(by), func(t *testing.T) {
			r := newRig(t)
			address, all, _ := archive(t, r.door, 0, 12, 4)
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
			job, err := r.db.Lease(t.Context(), "test", time.Minute)
			require.NoError(t, err)
			assert.Equal(t, store.Background, job.Priority, "the past waits for what arrives now")
			counts, err = queryretrieve.Run(t.Context(), cfg, period(t, 4))
			require.NoError(t, err)
			assert.Equal(t, queryretrieve.Counts{Days: 4, DaysBefore: 4}, counts)
		})
	}
}

// perDay is how many studies of the large archive lie on one day.
const perDay = 20

// injected are the troubles of an archive of so many studies, in each hundred of them the same, with the objects that must
// be lacking after a first run.
func injected(all []study) (troubles map[string]trouble, lacking map[string]string, removed []int) {
	troubles, lacking = map[string]trouble{}, map[string]string{}
	for n := 0; n < len(all); n += 100 {
		troubles[all[n+3].instance] = cutBefore
		lacking[all[n+3].instance] = "association broke"
		troubles[all[n+25].instance] = cutWithin
		lacking[all[n+25].instance] = "association broke"
		troubles[all[n+46].instance] = cutAfter
		troubles[all[n+67].instance] = cutAndShut
		lacking[all[n+67].instance] = "association broke"
		lacking[all[n+68].instance] = "no association"
		removed = append(removed, n+51)
		lacking[all[n+51].instance] = "archive"
	}
	return troubles, lacking, removed
}

// TestRefusals has an archive of a thousand small studies (a hundred outside continuous integration) refuse 5 % of them:
// associations are cut before, within and after an object, and refused, objects are not to be had, a day cannot be
// searched. The list of what is lacking is exact; the next run completes it, and nothing is there twice. DCMTK's archive
// holds 500 studies at most, so that the thousand are in two of them, one after the other, under one title.
func TestRefusals(t *testing.T) {
	tests := map[queryretrieve.By]struct{ parts, count int }{queryretrieve.ByGet: {1, 100}, queryretrieve.ByMove: {1, 100}}
	if everything() {
		tests[queryretrieve.ByGet] = struct{ parts, count int }{2, 500}
	}
	for by, tt := range tests {
		t.Run(string(by), func(t *testing.T) {
			r := newRig(t)
			want := map[string]int{}
			for part := range tt.parts {
				for _, one := range refusals(t, r, by, part*tt.count, tt.count) {
					want[one.instance] = 1
				}
			}
			assert.Len(t, want, tt.parts*tt.count)
			assert.Equal(t, want, r.receipts(t), "complete, and nothing twice")
		})
	}
}

// refusals gets what one archive has, in two runs.
func refusals(t *testing.T, r *rig, by queryretrieve.By, first, count int) []study {
	t.Helper()
	address, all, area := archive(t, r.door, first, count, perDay)
	troubles, lacking, removed := injected(all)
	for _, n := range removed {
		require.NoError(t, os.Rename(filepath.Join(area, file(n)), filepath.Join(area, file(n))+".away"))
	}
	if by == queryretrieve.ByMove { // the object does not pass the proxy: what is cut is the association that asked for it
		for n := 0; n < count; n += 100 {
			delete(troubles, all[n+25].instance)
			delete(lacking, all[n+25].instance)
		}
	}
	lost := all[count-1].day
	troubles[strings.ReplaceAll(lost, "-", "")] = cutBefore
	cfg := r.config(before(t, address, troubles))
	cfg.By = by
	days := count / perDay
	start := time.Now()
	counts, err := queryretrieve.Run(t.Context(), cfg, periodFrom(t, first/perDay, days))
	require.NoError(t, err, r.log)
	t.Logf("%d studies by C-%s: %v", count, by, time.Since(start))
	for instance, one := range r.lacking(t) {
		assert.Equal(t, store.ArchivedFailed, one.State)
		assert.Equal(t, 1, one.Attempts)
		assert.Contains(t, one.Status+" "+one.Reason, lacking[instance], instance)
	}
	assert.Equal(t, slices.Sorted(maps.Keys(lacking)), slices.Sorted(maps.Keys(r.lacking(t))))
	assert.Equal(t, queryretrieve.Counts{
		Days: days, DaysOpen: 1, Studies: count - perDay, Reports: count - perDay, Failed: len(lacking), Got: count - perDay - len(lacking),
	}, counts)
	open, err := r.db.SearchedDays(t.Context(), archiveTitle, lost, lost)
	require.NoError(t, err)
	require.Len(t, open, 1)
	assert.NotEmpty(t, open[0].Problem)

	for _, n := range removed {
		require.NoError(t, os.Rename(filepath.Join(area, file(n))+".away", filepath.Join(area, file(n))))
	}
	counts, err = queryretrieve.Run(t.Context(), cfg, queryretrieve.Period{}) // what is left over
	require.NoError(t, err, r.log)
	assert.Equal(t, queryretrieve.Counts{Studies: perDay, Reports: perDay, Got: len(lacking) + perDay}, counts)
	assert.Empty(t, r.lacking(t))
	return all
}
