package dimse_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest"
	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
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

// TestPlaces has two peers ask for places, of which there are some for each and some in all.
func TestPlaces(t *testing.T) {
	cfg := usable()
	cfg.Associations, cfg.PerPeer = 3, 2
	address := serve(t, cfg, nil)
	ask := func(from string) (*upper.Association, error) {
		dialer := &net.Dialer{LocalAddr: &net.TCPAddr{IP: net.ParseIP(from)}}
		return upper.Requestor{Limits: limits(), Calling: "CATH2", Dialer: dialer}.Dial(
			t.Context(), address, "AFTERBEAM", upper.Each(upper.Verification, upper.ImplicitLittle))
	}
	var open []*upper.Association
	for _, try := range []struct {
		from string
		ok   bool
	}{{"127.0.0.1", true}, {"127.0.0.1", true}, {"127.0.0.1", false}, {"127.0.0.2", true}, {"127.0.0.2", false}} {
		a, err := ask(try.from)
		if !try.ok {
			refused := new(upper.Rejection)
			require.ErrorAs(t, err, &refused)
			assert.Equal(t, *upper.RejectLimit, *refused)
			assert.True(t, refused.Transient())
			continue
		}
		require.NoError(t, err)
		open = append(open, a)
	}
	require.NoError(t, open[0].Release())
	require.Eventually(t, func() bool {
		a, err := ask("127.0.0.2")
		return err == nil && a.Release() == nil
	}, patienceOf, 10*time.Millisecond, "a place that was given back is given again")
	for _, a := range open[1:] {
		require.NoError(t, a.Release())
	}
}

// slow is a keeper that has the first object in memory for a while.
type slow struct {
	dimse.Keeper
	began, goOn chan struct{}
	once        sync.Once
}

func (s *slow) KeepIf(ctx context.Context, actor store.Actor, door string, body io.Reader, fits func(dicomio.Identity) error) (store.Receipt, ingest.Answer, error) {
	all, err := io.ReadAll(body)
	if err != nil {
		return store.Receipt{}, 0, err
	}
	s.once.Do(func() { close(s.began) })
	<-s.goOn
	return s.Keeper.KeepIf(ctx, actor, door, bytes.NewReader(all), fits)
}

// TestRoomInMemory has two objects under way where one may be held: the second is told to come again, and comes.
func TestRoomInMemory(t *testing.T) {
	s := &slow{began: make(chan struct{}), goOn: make(chan struct{})}
	r := newRig(t, func(k dimse.Keeper) dimse.Keeper {
		s.Keeper = k
		return s
	}, nil, func(c *dimse.Config) { c.Services = dimse.StorageForOne(s, 10*time.Millisecond) })
	first, second := associate(t, r.address), associate(t, r.address)
	set, id := dataSet(t, short(t))
	send := func(a *upper.Association) (upper.Status, error) {
		m, err := a.Ask(context.Background(), 1, stored(id), bytes.NewReader(set))
		if err != nil {
			return 0xFFFF, err
		}
		return m.Command.Status, nil
	}
	answered := make(chan upper.Status, 1)
	go func() {
		status, _ := send(first)
		answered <- status
	}()
	<-s.began
	status, err := send(second)
	require.NoError(t, err)
	assert.Equal(t, upper.StatusNoResources, status)
	close(s.goOn)
	assert.Equal(t, upper.Success, <-answered)
	status, err = send(second)
	require.NoError(t, err)
	assert.Equal(t, upper.Success, status)
	assert.Len(t, r.receipts(t), 1)
	require.NoError(t, errors.Join(first.Release(), second.Release()))
}
