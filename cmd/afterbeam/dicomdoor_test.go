package main

import (
	"context"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/peer"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/settings"
	"afterbeam/internal/store"
)

// TestDemoTakesReportsFromAnotherSender runs the very commands that the demonstration prints, plain and encrypted.
func TestDemoTakesReportsFromAnotherSender(t *testing.T) {
	peer.Need(t, "storescu")
	dir := t.TempDir()
	profiles := filepath.Join(dir, "devices.toml")
	require.NoError(t, os.WriteFile(profiles, []byte(demo.ProfileFile()), 0o600))
	d, err := startDemo(t.Context(), dir, profiles, true, io.Discard)
	require.NoError(t, err)
	defer func() { require.NoError(t, d.stop()) }()
	for i, c := range demo.Cases()[:2] {
		report := filepath.Join(dir, c.File)
		file, err := os.Create(report)
		require.NoError(t, err)
		require.NoError(t, rdsr.Write(file, &c.Report, rdsr.WriteOptions{}))
		require.NoError(t, file.Close())
		words := strings.Fields(d.senders(report)[i])
		ctx, stop := context.WithTimeout(t.Context(), time.Minute)
		text, err := exec.CommandContext(ctx, words[0], words[1:]...).CombinedOutput()
		stop()
		require.NoError(t, err, string(text))
		assert.Contains(t, string(text), "Received Store Response (Success)")
	}
	ctx, stop := context.WithTimeout(t.Context(), demoWithin)
	defer stop()
	require.NoError(t, d.works.drained(ctx))
	cases, err := d.works.db.Cases(t.Context(), store.Filter{Limit: 10})
	require.NoError(t, err)
	assert.Len(t, cases, 2, "both were read and assessed")
}

// TestExampleOfTheSettings reads the example file, whose values are the defaults.
func TestExampleOfTheSettings(t *testing.T) {
	file, err := os.Open("../../scripts/afterbeam.toml")
	require.NoError(t, err)
	defer func() { require.NoError(t, file.Close()) }()
	got, err := settings.Read(file, nil)
	require.NoError(t, err)
	want := settings.Default()
	want.Zone, want.Store.Dir = "Europe/London", "/var/lib/afterbeam"
	assert.Equal(t, want, got)
}
