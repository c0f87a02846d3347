package dicomweb_test

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"afterbeam/internal/access"
	"afterbeam/internal/demo"
	"afterbeam/internal/export/outlook"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/ingest"
	"afterbeam/internal/peer"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
	"afterbeam/internal/upkeep"
	"afterbeam/internal/witness"
)

// TestMain looks for goroutines left behind. The server waits half a second before it closes a connection that has more to
// say than it read, whatever becomes of the server.
func TestMain(m *testing.M) {
	goleak.VerifyTestMain(m, goleak.IgnoreAnyFunction("net/http.(*conn).closeWriteAndWait"))
}

// site is the interface on a port of loopback over a real store.
type site struct {
	dir     string
	db      *store.DB
	address string
	tokens  map[access.Role]string
}

type nothing struct{}

func (nothing) Draw(context.Context, store.Version, string) (string, []byte, error) {
	return "", nil, store.ErrNotFound
}

func (nothing) Plan(context.Context, []store.Case, outlook.Ask) (outlook.Document, error) {
	return outlook.Document{}, nil
}

func (nothing) Drawn(context.Context, []store.Case, string) (string, []byte, error) {
	return "", nil, store.ErrNotFound
}

func (nothing) Make(context.Context, store.Actor, string, httpapi.PaperAsk) (store.Paper, error) {
	return store.Paper{}, store.ErrNotFound
}

type noReleases struct{}

func (noReleases) Make(context.Context, store.Actor, string) (store.Release, error) {
	return store.Release{}, store.ErrNotFound
}

func (nothing) Sums(context.Context, []store.Case, string) ([]httpapi.WindowSum, error) {
	return nil, nil
}

// The limits of the site's requests.
const (
	objectLimit = 1 << 20
	storeLimit  = 200 << 20
)

// newSite serves; keeper, when not nil, stands before the real one.
func newSite(t *testing.T, keeper func(httpapi.Keeper) httpapi.Keeper) *site {
	t.Helper()
	s := &site{dir: t.TempDir(), tokens: map[access.Role]string{}}
	clock := witness.At(time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC))
	var err error
	s.db, err = store.Open(t.Context(), store.Config{Dir: s.dir, Program: "test", Now: clock.Now})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.db.Close()) })
	log := slog.New(slog.DiscardHandler)
	fatal := func(err error) { assert.NoError(t, err) }
	limits := dicomio.DefaultLimits()
	var real httpapi.Keeper = &ingest.Keeper{Vault: s.db, Limits: limits, Fatal: fatal, Kept: func() {}}
	if keeper != nil {
		real = keeper(real)
	}
	api, err := httpapi.New(httpapi.Config{
		Version: "test", TokenRate: 1e6, AddressRate: 1e6, BodyLimit: objectLimit, StoreLimit: storeLimit, Now: clock.Now, Logger: log, Fatal: fatal,
		KnownClass: func(string) bool { return false }, Events: func(store.Version) ([]procedure.Event, error) { return nil, nil },
		Maps: nothing{}, Windows: nothing{}, Plans: nothing{}, Papers: nothing{}, Releases: noReleases{}, Upkeep: &upkeep.Worker{Store: s.db, Now: clock.Now},
	}, s.db, real)
	require.NoError(t, err)
	for _, role := range []access.Role{access.Service, access.Physicist, access.Operator} {
		a, err := s.db.AddAccount(t.Context(), store.System("test"), string(role), string(role), map[bool][]string{true: {"Hybrid 1"}}[role == access.Operator])
		require.NoError(t, err)
		secret := access.NewSecret()
		_, err = s.db.AddToken(t.Context(), store.System("test"), a.ID, secret.Prefix, secret.Hash, "test", clock.Now().Add(time.Hour))
		require.NoError(t, err)
		s.tokens[role] = secret.Text
	}
	listener, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	require.NoError(t, err)
	s.address = listener.Addr().String()
	server := httpapi.HTTPServer(api.Handler(), log)
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(listener) }()
	t.Cleanup(func() {
		require.NoError(t, server.Close())
		require.ErrorIs(t, <-ended, http.ErrServerClosed)
	})
	return s
}

// curl runs curl against the site and gives status, headers and body.
func (s *site) curl(t *testing.T, path string, args ...string) (int, http.Header, []byte) {
	t.Helper()
	curl := peer.Need(t, "curl")
	dir := t.TempDir()
	head, body := filepath.Join(dir, "head"), filepath.Join(dir, "body")
	all := append([]string{"-sS", "--max-time", "60", "-D", head, "-o", body, "-w", "%{http_code}", "http://" + s.address + path}, args...)
	out, err := exec.Command(curl, all...).CombinedOutput()
	require.NoError(t, err, string(out))
	status, err := strconv.Atoi(string(out))
	require.NoError(t, err, string(out))
	content, err := os.ReadFile(body)
	if !os.IsNotExist(err) { // curl makes no file for an answer without a body
		require.NoError(t, err)
	}
	return status, headers(t, head), content
}

// headers reads the last block of headers of a file that curl wrote.
func headers(t *testing.T, name string) http.Header {
	t.Helper()
	text, err := os.ReadFile(name)
	require.NoError(t, err)
	blocks := strings.Split(strings.TrimSpace(string(text)), "\r\n\r\n")
	h := http.Header{}
	for line := range strings.Lines(blocks[len(blocks)-1]) {
		if name, value, ok := strings.Cut(line, ":"); ok {
			h.Add(name, strings.TrimSpace(value))
		}
	}
	return h
}

const (
	doseReport = "1.2.840.10008.5.1.4.1.1.88.67" // X-Ray Radiation Dose SR (PS3.4 annex B.5)
	image      = "1.2.840.10008.5.1.4.1.1.12.1"  // X-Ray Angiographic Image (PS3.4 annex B.5)
)

// file makes the smallest object that the guard takes for what its class says; size, when larger, fills it up.
func file(study, class, instance string, size int) []byte {
	text := func(tag dicomio.Tag, vr, value string) dicomio.Element {
		e := dicomio.Element{Tag: tag, VR: vr}
		if value != "" {
			e.Values = []string{value}
		}
		return e
	}
	code := func(value, meaning string) []dicomio.DataSet {
		return []dicomio.DataSet{{text(0x00080100, "SH", value), text(0x00080102, "SH", "DCM"), text(0x00080104, "LO", meaning)}}
	}
	set := dicomio.DataSet{
		text(0x00080016, "UI", class), text(0x00080018, "UI", instance), text(0x00080020, "DA", "20261125"),
		text(0x0020000D, "UI", study), text(0x0020000E, "UI", study+".1"),
		{Tag: 0x0040A730, VR: "SQ", Items: []dicomio.DataSet{{
			text(0x0040A010, "CS", "HAS CONCEPT MOD"), text(0x0040A040, "CS", "CODE"),
			{Tag: 0x0040A043, VR: "SQ", Items: code("121058", "Procedure reported")},
			{Tag: 0x0040A168, VR: "SQ", Items: code("113704", "Projection X-Ray")},
		}}},
	}
	if size > 0 {
		set = append(set, dicomio.Element{Tag: 0x00420011, VR: "OB", Bytes: bytes.Repeat([]byte(instance), size/len(instance)+1)})
	}
	var out bytes.Buffer
	if err := dicomio.Write(&out, set, dicomio.ExplicitLittleEndian); err != nil {
		panic(err)
	}
	return out.Bytes()
}

// scene gives a report of the demonstration as a file.
func scene(t *testing.T, name string) (content []byte, report procedure.Report) {
	t.Helper()
	for _, c := range demo.Cases() {
		if c.File == name {
			var out bytes.Buffer
			require.NoError(t, rdsr.Write(&out, &c.Report, rdsr.WriteOptions{}))
			return out.Bytes(), c.Report
		}
	}
	require.Fail(t, "no such case")
	return nil, report
}

// part writes one part; contentType "" is none.
func part(out io.Writer, contentType string, content []byte) {
	_, _ = io.WriteString(out, "--edge\r\n")
	if contentType != "" {
		_, _ = io.WriteString(out, "Content-Type: "+contentType+"\r\n")
	}
	_, _ = io.WriteString(out, "\r\n")
	_, _ = out.Write(content)
	_, _ = io.WriteString(out, "\r\n")
}

const lastEdge = "--edge--\r\n"

// message writes a whole body of objects.
func message(objects ...[]byte) string {
	var out strings.Builder
	for _, one := range objects {
		part(&out, "application/dicom", one)
	}
	return out.String() + lastEdge
}
