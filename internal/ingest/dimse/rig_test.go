package dimse_test

import (
	"bytes"
	"context"
	"crypto/tls"
	"log/slog"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"afterbeam/internal/demo"
	"afterbeam/internal/ingest"
	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
	"afterbeam/internal/witness"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const doseClass = "1.2.840.10008.5.1.4.1.1.88.67"

// rig is a store with a door before it.
type rig struct {
	db      *store.DB
	log     *witness.Log
	address string
}

// tuned changes the configuration of a door.
type tuned func(*dimse.Config)

// limits are those of a door whose peers are quick or wrong.
func limits() upper.Limits {
	l := upper.DefaultLimits()
	l.ARTIM, l.Idle, l.Transfer = 20*time.Second, 20*time.Second, 20*time.Second
	return l
}

func newRig(t testing.TB, keeper func(dimse.Keeper) dimse.Keeper, encryption *tls.Config, tune ...tuned) *rig {
	t.Helper()
	db, err := store.Open(t.Context(), store.Config{Dir: t.TempDir(), Program: "test", Now: time.Now})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, db.Close()) })
	r := &rig{db: db, log: &witness.Log{}}
	var k dimse.Keeper = &ingest.Keeper{Vault: db, Limits: dicomio.DefaultLimits(), Fatal: func(err error) { t.Error(err) }, Kept: func() {}}
	if keeper != nil {
		k = keeper(k)
	}
	cfg := dimse.Config{
		Title: "AFTERBEAM", Limits: limits(), Associations: 64, PerPeer: 64, Log: slog.New(slog.NewTextHandler(r.log, nil)),
		Services: append([]dimse.Service{dimse.Verification()}, dimse.Storage(k)...),
	}
	for _, change := range tune {
		change(&cfg)
	}
	r.address = serve(t, cfg, encryption)
	return r
}

// serve runs a door on loopback until the test ends.
func serve(t testing.TB, cfg dimse.Config, encryption *tls.Config) string {
	t.Helper()
	door, err := dimse.New(cfg)
	require.NoError(t, err)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- door.Serve(ctx, l, encryption) }()
	t.Cleanup(func() {
		stop()
		assert.ErrorIs(t, <-ended, context.Canceled)
	})
	return l.Addr().String()
}

func (r *rig) receipts(t testing.TB) []store.Receipt {
	t.Helper()
	var all []store.Receipt
	for _, state := range []store.ReceiptState{store.ReceiptKept, store.ReceiptQuarantined} {
		some, err := r.db.Receipts(t.Context(), state, "", 1000)
		require.NoError(t, err)
		all = append(all, some...)
	}
	return all
}

// report writes a small case of the demonstration as a file.
func report(t testing.TB, syntax string) []byte {
	t.Helper()
	for _, c := range demo.Cases() {
		if c.File == "rhythm3-ablation.dcm" {
			var b bytes.Buffer
			require.NoError(t, rdsr.Write(&b, &c.Report, rdsr.WriteOptions{TransferSyntax: syntax}))
			return b.Bytes()
		}
	}
	t.Fatal("no such case")
	return nil
}

func file(t testing.TB, name string, content []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, content, 0o600))
	return path
}

// dataSet gives the data set of a file and the file's own identity.
func dataSet(t testing.TB, file []byte) ([]byte, dicomio.Identity) {
	t.Helper()
	id, err := dicomio.Identify(file, dicomio.DefaultLimits())
	require.NoError(t, err)
	front, err := dicomio.Front(id.SOPClassUID, id.SOPInstanceUID, id.TransferSyntax)
	require.NoError(t, err)
	require.True(t, bytes.HasPrefix(file, front), "files of our own begin with our own front")
	return file[len(front):], id
}

// associate connects to a door as a sender of dose reports would.
func associate(t testing.TB, address string, proposals ...upper.Proposal) *upper.Association {
	t.Helper()
	if len(proposals) == 0 {
		proposals = upper.Each(doseClass, upper.ExplicitLittle)
	}
	a, err := upper.Requestor{Limits: limits(), Calling: "CATH2"}.Dial(context.Background(), address, "AFTERBEAM", proposals)
	require.NoError(t, err)
	return a
}

func stored(id dicomio.Identity) upper.Command {
	return upper.Command{Field: upper.CStore, AffectedClass: id.SOPClassUID, AffectedInstance: id.SOPInstanceUID}
}

func prefixes(texts ...string) []netip.Prefix {
	var all []netip.Prefix
	for _, text := range texts {
		all = append(all, netip.MustParsePrefix(text))
	}
	return all
}
