package main

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/peer"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
)

// archived runs DCMTK's archive with reports of the scenario; it knows the door that a settings file names.
func archived(t *testing.T, door string, reports ...string) (address, area string) {
	t.Helper()
	files := map[string][]byte{}
	for _, name := range reports {
		r := caseOf(name)
		var b bytes.Buffer
		require.NoError(t, rdsr.Write(&b, &r, rdsr.WriteOptions{}))
		files[name] = b.Bytes()
	}
	return peer.Archive{Title: "ARCHIVE", DoorTitle: "AFTERBEAM", Door: door, Studies: 100, Files: files}.Run(t)
}

// fetching writes settings and gives what runs the program with them.
func fetching(t *testing.T, folder, door, archive, retrieve string) func(arguments ...string) (status int, out, complaint string) {
	t.Helper()
	name := filepath.Join(t.TempDir(), "site.toml")
	require.NoError(t, os.WriteFile(name, fmt.Appendf(nil, `zone = "UTC"
[store]
dir = %q
[dicom]
listen = %q
[archive]
address = %q
title = "ARCHIVE"
retrieve = %q
requests_per_second = 1000.0
`, folder, door, archive, retrieve), 0o600))
	return func(arguments ...string) (int, string, string) {
		var out, complaint bytes.Buffer
		status := run(append(arguments, "--config", name), console{in: strings.NewReader(""), out: &out, err: &complaint})
		return status, out.String(), complaint.String()
	}
}

// TestFetch fetches into a store of its own, by both ways; the list of gaps says what did not come and why, and another run
// brings it.
func TestFetch(t *testing.T) {
	for _, way := range []string{"get", "move"} {
		t.Run(way, func(t *testing.T) {
			door := peer.Unused(t)
			address, area := archived(t, door, "mobile-rhythm-device.dcm", "rhythm3-ablation.dcm")
			afterbeam := fetching(t, filepath.Join(t.TempDir(), "store"), door, address, way)
			lost := filepath.Join(area, "rhythm3-ablation.dcm")
			require.NoError(t, os.Rename(lost, lost+".away"))
			status, out, complaint := afterbeam("fetch", "--from", "2026-11-01", "--to", "2026-11-30")
			assert.Equal(t, exitPartial, status, complaint)
			assert.Contains(t, out, "dose reports found 2, had before 0, fetched 1, failed 1")
			assert.Contains(t, complaint, "afterbeam fetch --gaps lists it")
			status, out, _ = afterbeam("fetch", "--gaps")
			assert.Equal(t, exitDone, status)
			r := caseOf("rhythm3-ablation.dcm")
			assert.Contains(t, out, "0 of them not to the end; 1 dose reports not here")
			assert.Contains(t, out, "instance "+r.SOPInstanceUID)
			assert.Regexp(t, `asked for once, the last time answered [0-9A-F]{4}: archive `, out)
			assert.NotContains(t, out+complaint, r.Patient.ID)

			require.NoError(t, os.Rename(lost+".away", lost))
			status, out, complaint = afterbeam("fetch")
			assert.Equal(t, exitDone, status, complaint)
			assert.Contains(t, out, "fetched 1, failed 0")
			_, out, _ = afterbeam("fetch", "--gaps")
			assert.Contains(t, out, "0 dose reports not here")
			_, out, _ = afterbeam("audit", "verify")
			assert.Contains(t, out, "audit chain whole")
		})
	}
}

// TestFetchBesideTheService has the archive send to the door of a service that runs, which assesses what comes.
func TestFetchBesideTheService(t *testing.T) {
	dir := t.TempDir()
	profiles := filepath.Join(dir, "devices.toml")
	require.NoError(t, os.WriteFile(profiles, []byte(demo.ProfileFile()), 0o600))
	d, err := startDemo(t.Context(), dir, profiles, true, io.Discard)
	require.NoError(t, err)
	defer func() { require.NoError(t, d.stop()) }()
	door := d.works.network.plain.Addr().String()
	address, _ := archived(t, door, "mobile-rhythm-device.dcm")
	afterbeam := fetching(t, d.works.settings.Store.Dir, door, address, "move")
	status, out, complaint := afterbeam("fetch", "--from", "2026-11-01", "--to", "2026-11-30")
	assert.Equal(t, exitDone, status, complaint)
	assert.Contains(t, out, "fetched 1, failed 0")
	r := caseOf("mobile-rhythm-device.dcm")
	require.Eventually(t, func() bool {
		all, err := d.works.db.Cases(t.Context(), store.Filter{Limit: 10})
		return err == nil && len(all) == 1 && all[0].StudyUID == r.StudyUID
	}, time.Minute, 50*time.Millisecond, "the service has assessed it")
}

// TestFetchEncrypted asks an archive that wants a certificate and shows one of its own.
func TestFetchEncrypted(t *testing.T) {
	c, err := demo.MakeCertificates(t.TempDir(), time.Now())
	require.NoError(t, err)
	other, err := demo.MakeCertificates(t.TempDir(), time.Now())
	require.NoError(t, err)
	encryption, err := dimse.Encryption{Certificate: c.Server, Key: c.ServerKey, ClientCA: c.Authority, ClientsMust: true}.Read()
	require.NoError(t, err)
	l, err := tls.Listen("tcp", "127.0.0.1:0", encryption)
	require.NoError(t, err)
	var running sync.WaitGroup
	defer running.Wait()
	defer func() { _ = l.Close() }()
	running.Go(func() {
		for conn, err := l.Accept(); err == nil; conn, err = l.Accept() {
			finds(conn)
		}
	})
	afterbeam := fetching(t, filepath.Join(t.TempDir(), "store"), "", l.Addr().String(), "get")
	t.Setenv("AFTERBEAM_ARCHIVE_TLS", "true")
	t.Setenv("AFTERBEAM_ARCHIVE_AUTHORITY", c.Authority)
	t.Setenv("AFTERBEAM_ARCHIVE_CERTIFICATE", c.Client)
	t.Setenv("AFTERBEAM_ARCHIVE_KEY", c.ClientKey)
	status, out, complaint := afterbeam("fetch", "--from", "2026-01-01", "--to", "2026-01-02")
	assert.Equal(t, exitDone, status, complaint)
	assert.Contains(t, out, "days 2, done before 0, not searched to the end 0")
	t.Setenv("AFTERBEAM_ARCHIVE_AUTHORITY", c.Client)
	status, _, complaint = afterbeam("fetch", "--anew", "--from", "2026-01-01", "--to", "2026-01-01")
	assert.Equal(t, exitPartial, status)
	assert.Contains(t, complaint, "certificate signed by unknown authority")
	t.Setenv("AFTERBEAM_ARCHIVE_AUTHORITY", other.ServerKey)
	status, _, complaint = afterbeam("fetch")
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, complaint, "wants certificates in PEM form")
}

// finds answers the questions of one association with nothing.
func finds(conn net.Conn) {
	offers := func(string) (upper.Offer, bool) { return upper.Offer{Transfer: []string{upper.ExplicitLittle}}, true }
	a, err := upper.Acceptor{Limits: upper.DefaultLimits(), Offers: offers}.Accept(context.Background(), conn)
	for err == nil {
		var m *upper.Message
		if m, err = a.Next(context.Background()); err == nil {
			err = errors.Join(a.Skip(), a.Send(m.Context.ID, m.Command.Respond(upper.Success), nil))
		}
	}
}
