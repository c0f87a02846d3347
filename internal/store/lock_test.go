package store_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

func TestOneProcessServesAStore(t *testing.T) {
	dir := t.TempDir()
	first, err := store.Open(context.Background(), store.Config{Dir: dir})
	require.NoError(t, err)
	_, err = store.Open(context.Background(), store.Config{Dir: dir})
	require.ErrorIs(t, err, store.ErrServed)
	beside, err := store.Open(context.Background(), store.Config{Dir: dir, Beside: true})
	require.NoError(t, err)
	require.NoError(t, beside.Close())
	require.NoError(t, first.Close())
	again, err := store.Open(context.Background(), store.Config{Dir: dir})
	require.NoError(t, err)
	require.NoError(t, again.Close())
}
