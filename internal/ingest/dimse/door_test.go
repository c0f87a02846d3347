package dimse_test

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"net"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/witness"
)

func TestOneNameForOneImplementation(t *testing.T) {
	assert.Equal(t, dicomio.ImplementationUID, upper.ImplementationUID)
	assert.Equal(t, dicomio.ImplementationName, upper.ImplementationVersion)
}

// usable is a configuration that New takes.
func usable() dimse.Config {
	return dimse.Config{
		Title: "AFTERBEAM", Limits: limits(), Associations: 4, PerPeer: 4, Services: []dimse.Service{dimse.Verification()},
		Log: slog.New(slog.DiscardHandler),
	}
}

func TestNewRefuses(t *testing.T) {
	tests := map[string]struct {
		change tuned
		want   string
	}{
		"no title":            {func(c *dimse.Config) { c.Title = "" }, "AE title"},
		"a long title":        {func(c *dimse.Config) { c.Title = "SEVENTEEN LETTERS" }, "AE title"},
		"a small PDU":         {func(c *dimse.Config) { c.Limits.PDU = 100 }, "longest PDU"},
		"no time":             {func(c *dimse.Config) { c.Limits.Idle = 0 }, "timers"},
		"no places":           {func(c *dimse.Config) { c.PerPeer = 0 }, "associations"},
		"a class twice":       {func(c *dimse.Config) { c.Services = append(c.Services, dimse.Verification()) }, "two services"},
		"a caller's title":    {func(c *dimse.Config) { c.Callers = []dimse.Caller{{Title: `A\B`}} }, "AE title"},
		"half a fingerprint":  {func(c *dimse.Config) { c.Callers = []dimse.Caller{{Title: "CATH2", Certificate: "sha256:00ff"}} }, "64 hex digits"},
		"no fingerprint":      {func(c *dimse.Config) { c.Callers = []dimse.Caller{{Title: "CATH2", Certificate: "sha256:zz"}} }, "64 hex digits"},
		"no room for objects": {func(c *dimse.Config) { c.Limits.DataSet = 0 }, "data set"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			cfg := usable()
			tt.change(&cfg)
			_, err := dimse.New(cfg)
			require.ErrorContains(t, err, tt.want)
		})
	}
}

// TestMessageUnderWayIsAnswered stops the door in the middle of a data set.
func TestMessageUnderWayIsAnswered(t *testing.T) {
	held := make(chan struct{})
	cfg := usable()
	cfg.Services = append(cfg.Services, dimse.Service{
		SOPClass: doseClass, Transfer: []string{upper.ExplicitLittle},
		Handlers: map[upper.Field]dimse.Handler{upper.CStore: func(_ context.Context, c dimse.Call) (dimse.Reply, error) {
			close(held)
			_, err := io.Copy(io.Discard, c.Message.Data)
			return dimse.Reply{}, err
		}},
	})
	door, err := dimse.New(cfg)
	require.NoError(t, err)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- door.Serve(ctx, l, nil) }()
	idle := associate(t, l.Addr().String())
	busy := associate(t, l.Addr().String())
	source, more := io.Pipe()
	answered := make(chan error, 1)
	var status upper.Status = 0xFFFF
	go func() {
		m, err := busy.Ask(context.Background(), 1, upper.Command{Field: upper.CStore, AffectedClass: doseClass, AffectedInstance: "2.25.1"}, source)
		if err == nil {
			status = m.Command.Status
		}
		answered <- err
	}()
	_, err = more.Write(make([]byte, 100_000))
	require.NoError(t, err)
	<-held
	stop()
	aborted := new(upper.Aborted)
	_, err = idle.Next(context.Background())
	require.ErrorAs(t, err, &aborted, "who sends nothing is told that it is over")
	_, err = more.Write(make([]byte, 100_000))
	require.NoError(t, err)
	require.NoError(t, more.Close())
	require.NoError(t, <-answered)
	assert.Equal(t, upper.Success, status)
	_, err = busy.Next(context.Background())
	require.ErrorAs(t, err, &aborted)
	require.ErrorIs(t, <-ended, context.Canceled)
}

// TestFailingHandlerEndsItsAssociationAlone has a handler that panics, and one that sends a request of its own.
func TestFailingHandlerEndsItsAssociationAlone(t *testing.T) {
	log := &witness.Log{}
	cfg := usable()
	cfg.Log = slog.New(slog.NewTextHandler(log, nil))
	cfg.Services = append(cfg.Services, dimse.Service{
		SOPClass: doseClass, Transfer: []string{upper.ExplicitLittle}, SCU: true,
		Handlers: map[upper.Field]dimse.Handler{
			upper.CStore: func(context.Context, dimse.Call) (dimse.Reply, error) { panic("Smith^John") },
			upper.NAction: func(_ context.Context, c dimse.Call) (dimse.Reply, error) {
				return dimse.Reply{Comment: strings.Repeat("x", 80), Data: strings.NewReader("some"), Then: func(_ context.Context, a *upper.Association) error {
					return a.Send(c.Message.Context.ID, upper.Command{Field: upper.NEventReport, MessageID: a.MessageID()}, strings.NewReader("more"))
				}}, nil
			},
		},
	})
	address := serve(t, cfg, nil)
	failing, other := associate(t, address), associate(t, address)
	_, err := failing.Ask(t.Context(), 1, upper.Command{Field: upper.CStore}, bytes.NewReader(make([]byte, 8)))
	require.Error(t, err)
	assert.Contains(t, log.String(), "association failed")
	assert.NotContains(t, log.String(), "Smith")
	m, err := other.Ask(t.Context(), 1, upper.Command{Field: upper.NAction, RequestedClass: doseClass, RequestedInstance: "2.25.7"}, nil)
	require.NoError(t, err)
	assert.Equal(t, "2.25.7", m.Command.AffectedInstance)
	assert.Len(t, m.Command.Comment, 64)
	m, err = other.Next(t.Context())
	require.NoError(t, err)
	assert.Equal(t, upper.NEventReport, m.Command.Field)
	require.NoError(t, other.Release())
}
