package store_test

import (
	"context"
	"fmt"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

// Far more different queries than stay prepared, from many at once, are answered all the same.
func TestManyQueries(t *testing.T) {
	db, err := store.Open(t.Context(), store.Config{Dir: t.TempDir(), Program: "test"})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	var asking sync.WaitGroup
	for range 4 {
		asking.Go(func() {
			for n := range 300 {
				query := fmt.Sprintf("SELECT %d + $1", n)
				var got int
				assert.NoError(t, db.QueryRow(t.Context(), query, 1).Scan(&got))
				assert.Equal(t, n+1, got)
			}
		})
	}
	asking.Wait()
	require.ErrorContains(t, db.QueryRow(t.Context(), "SELECT no_such_column").Scan(new(int)), "no_such_column")
	ended, end := context.WithCancel(t.Context())
	end()
	require.ErrorIs(t, db.QueryRow(ended, "SELECT 0 + $1", 1).Scan(new(int)), context.Canceled)
}

// A prepared query sees what was written since, and leaves nothing open that would keep the log of the database growing.
func TestPreparedQueriesSeeNewRows(t *testing.T) {
	db, err := store.Open(t.Context(), store.Config{Dir: t.TempDir(), Program: "test"})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	for n := range 3 {
		_, err := db.AddAccount(t.Context(), store.System("test"), fmt.Sprint("account ", n), "admin", nil)
		require.NoError(t, err)
		all, err := db.Accounts(t.Context())
		require.NoError(t, err)
		assert.Len(t, all, n+1)
	}
	var busy, pages, moved int
	require.NoError(t, db.Writer().QueryRow(`PRAGMA wal_checkpoint(TRUNCATE)`).Scan(&busy, &pages, &moved))
	assert.Zero(t, busy, "no reader holds the log")
}
