package main

import (
	"archive/zip"
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
)

// tokenFile makes an account and writes a token of it to a file.
func tokenFile(t *testing.T, db *store.DB, name string, role access.Role) string {
	t.Helper()
	ctx := context.Background()
	a, err := db.AddAccount(ctx, atConsole, name, string(role), nil)
	require.NoError(t, err)
	secret := access.NewSecret()
	_, err = db.AddToken(ctx, atConsole, a.ID, secret.Prefix, secret.Hash, "test", time.Now().Add(time.Hour))
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "token")
	require.NoError(t, os.WriteFile(path, []byte(secret.Text+"\n"), 0o600))
	return path
}

// TestReleaseAtTheConsole takes the two stages of the repair from the request to the file, and reads the reports in it.
func TestReleaseAtTheConsole(t *testing.T) {
	var staged []procedure.Report
	config, db := paperSite(t, func(r *procedure.Report) {
		r.Events = r.Events[:20]
		staged = append(staged, *r)
	})
	author, second := tokenFile(t, db, "first", access.Quality), tokenFile(t, db, "second", access.Physicist)
	id := strings.TrimSpace(string(ran(t, "release", "ask", "--config", config, "--token-file", author, "--recipient", "Registry", "--purpose", "survey", "--device", "make", "--persons", "pseudonym", "--characteristics")))
	refused := func(want string, args ...string) {
		t.Helper()
		var out, errs bytes.Buffer
		assert.NotZero(t, run(args, console{in: strings.NewReader(""), out: &out, err: &errs}))
		assert.Contains(t, errs.String(), want)
	}
	dir := t.TempDir()
	refused("not approved", "release", "make", id, "--config", config, "--token-file", author, "--to", dir)
	refused("who asked", "release", "approve", id, "--reason", "mine", "--config", config, "--token-file", author)
	refused("no valid token", "release", "approve", id, "--reason", "mine", "--config", config, "--token-file", "-")
	refused("not allowed", "release", "approve", id, "--reason", "mine", "--config", config, "--token-file", tokenFile(t, db, "third", access.Operator))
	assert.Contains(t, string(ran(t, "release", "approve", id, "--reason", "agreed", "--config", config, "--token-file", second)), "approved")
	assert.Contains(t, string(ran(t, "release", "make", id, "--config", config, "--token-file", author, "--to", dir)), "2 procedures of 1 patients, 2 reports")
	assert.Contains(t, string(ran(t, "release", "list", "--config", config)), "Registry")

	z, err := zip.OpenReader(filepath.Join(dir, "release-"+id+".zip"))
	require.NoError(t, err)
	defer func() { require.NoError(t, z.Close()) }()
	var starts []time.Time
	kerma := map[string]bool{}
	for _, f := range z.File {
		r, err := f.Open()
		require.NoError(t, err)
		raw, err := io.ReadAll(r)
		require.NoError(t, err)
		for _, telling := range []string{"SYN-0001", "Synthetic", "Saltmarsh", "SYN26", "20260921", "2026-09-21", "19540311", "HYBRID", "Hybrid 1"} {
			assert.NotContains(t, strings.ToUpper(string(raw)), strings.ToUpper(telling), f.Name)
		}
		if strings.HasSuffix(f.Name, ".dcm") {
			report, err := rdsr.Read(raw, rdsr.Options{})
			require.NoError(t, err)
			starts = append(starts, report.Events[0].Start.Time)
			for _, p := range report.Planes {
				kerma[fmt.Sprint(p.RefKerma)] = true
			}
		}
	}
	require.Len(t, starts, 2)
	assert.Equal(t, staged[1].Events[0].Start.Time.Sub(staged[0].Events[0].Start.Time).Abs(), starts[1].Sub(starts[0]).Abs(), "five weeks, to the second")
	for _, r := range staged {
		for _, p := range r.Planes {
			assert.True(t, kerma[fmt.Sprint(p.RefKerma)], "the totals are the reports'")
		}
	}
	cases, err := db.Cases(context.Background(), store.Filter{})
	require.NoError(t, err)
	of, err := db.ReleasesOfPatient(context.Background(), cases[0].PatientID)
	require.NoError(t, err)
	require.Len(t, of, 1)
	assert.Equal(t, []any{id, 2}, []any{of[0].ID, of[0].Procedures})
}
