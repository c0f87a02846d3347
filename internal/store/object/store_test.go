package object_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/store/object"
)

const limit = 1 << 16

func TestKeepAndRead(t *testing.T) {
	s, err := object.New(object.Disk{}, t.TempDir(), limit)
	require.NoError(t, err)
	a, err := s.Receive(context.Background(), bytes.NewReader([]byte("a report")))
	require.NoError(t, err)
	_, err = s.Read(a.Digest)
	require.ErrorIs(t, err, object.ErrNotFound, "not there before Keep")
	require.NoError(t, a.Keep())
	got, err := s.Read(a.Digest)
	require.NoError(t, err)
	assert.Equal(t, "a report", string(got))
	var digests []string
	require.NoError(t, s.Digests(func(d string) error { digests = append(digests, d); return nil }))
	assert.Equal(t, []string{a.Digest}, digests)
}

func TestReceiveRefusesTheOversize(t *testing.T) {
	dir := t.TempDir()
	s, err := object.New(object.Disk{}, dir, limit)
	require.NoError(t, err)
	_, err = s.Receive(context.Background(), bytes.NewReader(make([]byte, limit+1)))
	require.ErrorIs(t, err, object.ErrTooLarge)
	assert.Empty(t, files(t, dir))
	a, err := s.Receive(context.Background(), bytes.NewReader(make([]byte, limit)))
	require.NoError(t, err)
	require.NoError(t, a.Drop())
	assert.Empty(t, files(t, dir))
}

func TestReceiveStopsWithItsContext(t *testing.T) {
	s, err := object.New(object.Disk{}, t.TempDir(), limit)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err = s.Receive(ctx, bytes.NewReader([]byte("x")))
	require.ErrorIs(t, err, context.Canceled)
}

func TestReadNeedsADigest(t *testing.T) {
	s, err := object.New(object.Disk{}, t.TempDir(), limit)
	require.NoError(t, err)
	for _, name := range []string{"", "../../etc/passwd", "ABC", fmt.Sprintf("%064X", 171)} {
		_, err := s.Read(name)
		assert.ErrorIs(t, err, object.ErrNotFound, name)
	}
}

// Every flipped bit of a stored file is found on reading, and sending the bytes again heals it.
func TestFlippedBitsAreFoundAndHealed(t *testing.T) {
	dir := t.TempDir()
	s, err := object.New(object.Disk{}, dir, limit)
	require.NoError(t, err)
	body := bytes.Repeat([]byte("dose "), 50)
	keep := func() string {
		a, err := s.Receive(context.Background(), bytes.NewReader(body))
		require.NoError(t, err)
		require.NoError(t, a.Keep())
		return a.Digest
	}
	digest := keep()
	stored := files(t, dir)
	require.Len(t, stored, 1)
	whole, err := os.ReadFile(stored[0])
	require.NoError(t, err)
	found := 0
	for bit := range len(whole) * 8 {
		flipped := bytes.Clone(whole)
		flipped[bit/8] ^= 1 << (bit % 8)
		require.NoError(t, os.WriteFile(stored[0], flipped, 0o600))
		got, err := s.Read(digest)
		if err == nil {
			assert.Equal(t, body, got, "a flip in the header's spare fields may be harmless, never a wrong body")
			continue
		}
		require.ErrorIs(t, err, object.ErrCorrupt)
		found++
	}
	assert.Greater(t, found, len(whole)*6, "most bits matter")
	assert.Equal(t, digest, keep())
	_, err = s.Read(digest)
	require.NoError(t, err)
}

func TestCleanRemovesWhatACrashLeft(t *testing.T) {
	dir := t.TempDir()
	s, err := object.New(object.Disk{}, dir, limit)
	require.NoError(t, err)
	_, err = s.Receive(context.Background(), bytes.NewReader([]byte("left behind")))
	require.NoError(t, err)
	require.Len(t, files(t, dir), 1)
	require.NoError(t, s.Clean())
	assert.Empty(t, files(t, dir))
}

// A power cut after any call, with all that was not synced lost, never loses an object that Keep acknowledged.
func TestPowerCutAfterAnyCall(t *testing.T) {
	for calls := 1; ; calls++ {
		disk := newLossy(t.TempDir(), calls)
		acknowledged, done := keepThree(disk)
		require.NoError(t, disk.powerCut())
		s, err := object.New(object.Disk{}, disk.root, limit)
		require.NoError(t, err)
		require.NoError(t, s.Clean())
		for _, digest := range acknowledged {
			_, err := s.Read(digest)
			require.NoError(t, err, "lost after %d calls", calls)
		}
		require.NoError(t, s.Digests(func(d string) error {
			_, err := s.Read(d)
			if err != nil && !errors.Is(err, object.ErrCorrupt) {
				return err
			}
			return nil
		}))
		if done {
			assert.Len(t, acknowledged, 3)
			return
		}
	}
}

func keepThree(fsys object.FS) (acknowledged []string, done bool) {
	s, err := object.New(fsys, "", limit)
	if err != nil {
		return nil, false
	}
	for i := range 3 {
		a, err := s.Receive(context.Background(), bytes.NewReader(bytes.Repeat([]byte{byte(i)}, 3000)))
		if err != nil {
			return acknowledged, false
		}
		if err := a.Keep(); err != nil {
			return acknowledged, false
		}
		acknowledged = append(acknowledged, a.Digest)
	}
	return acknowledged, true
}

// The n-th call failing is an error or does no harm; it is never a silent loss, and a failed fsync is told as one.
func TestNthCallFails(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 60).Draw(rt, "call")
		dir, err := os.MkdirTemp("", "object-*")
		require.NoError(rt, err)
		defer func() { _ = os.RemoveAll(dir) }()
		failing := &failing{FS: object.Disk{}, left: n}
		s, err := object.New(failing, dir, limit)
		if err != nil {
			return
		}
		body := rapid.SliceOfN(rapid.Byte(), 0, 5000).Draw(rt, "body")
		a, err := s.Receive(context.Background(), bytes.NewReader(body))
		if err == nil {
			err = a.Keep()
		}
		if failing.failedSync {
			require.ErrorIs(rt, err, object.ErrSync)
		}
		if err != nil {
			return
		}
		whole, newErr := object.New(object.Disk{}, dir, limit)
		require.NoError(rt, newErr)
		got, readErr := whole.Read(a.Digest)
		require.NoError(rt, readErr)
		require.True(rt, bytes.Equal(body, got))
	})
}

func files(t *testing.T, dir string) []string {
	t.Helper()
	var names []string
	require.NoError(t, object.Disk{}.Walk(dir, func(name string, _ int64) error {
		names = append(names, filepath.Clean(name))
		return nil
	}))
	return names
}
