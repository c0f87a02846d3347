package upper_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/ingest/dimse/upper"
)

func TestNegotiation(t *testing.T) {
	tests := map[string]struct {
		give upper.Proposal
		near upper.Context // what the requestor gets, zero for nothing
		far  upper.Context
	}{
		"the usual roles": {
			upper.Proposal{Abstract: class, Transfer: []string{upper.ImplicitLittle}},
			upper.Context{ID: 1, Abstract: class, Transfer: upper.ImplicitLittle, SCU: true},
			upper.Context{ID: 1, Abstract: class, Transfer: upper.ImplicitLittle, SCP: true},
		},
		"the acceptor's preference": {
			upper.Proposal{Abstract: class, Transfer: []string{upper.ImplicitLittle, upper.ExplicitLittle}},
			upper.Context{ID: 1, Abstract: class, Transfer: upper.ExplicitLittle, SCU: true},
			upper.Context{ID: 1, Abstract: class, Transfer: upper.ExplicitLittle, SCP: true},
		},
		"the requestor as SCP": {
			upper.Proposal{Abstract: class, Transfer: []string{upper.ImplicitLittle}, SCP: true},
			upper.Context{ID: 1, Abstract: class, Transfer: upper.ImplicitLittle, SCP: true},
			upper.Context{ID: 1, Abstract: class, Transfer: upper.ImplicitLittle, SCU: true},
		},
		"both roles": {
			upper.Proposal{Abstract: class, Transfer: []string{upper.ImplicitLittle}, SCU: true, SCP: true},
			upper.Context{ID: 1, Abstract: class, Transfer: upper.ImplicitLittle, SCU: true, SCP: true},
			upper.Context{ID: 1, Abstract: class, Transfer: upper.ImplicitLittle, SCU: true, SCP: true},
		},
		"a role that is not offered": {
			upper.Proposal{Abstract: upper.Verification, Transfer: []string{upper.ImplicitLittle}, SCU: true, SCP: true},
			upper.Context{ID: 1, Abstract: upper.Verification, Transfer: upper.ImplicitLittle, SCU: true},
			upper.Context{ID: 1, Abstract: upper.Verification, Transfer: upper.ImplicitLittle, SCP: true},
		},
		"an unknown class":   {give: upper.Proposal{Abstract: "1.2.3", Transfer: []string{upper.ImplicitLittle}}},
		"an unknown syntax":  {give: upper.Proposal{Abstract: class, Transfer: []string{upper.DeflatedLittle}}},
		"no transfer syntax": {give: upper.Proposal{Abstract: class}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			near, far := pair(t, limits(), limits(), tt.give)
			if tt.near.ID == 0 {
				assert.Empty(t, near.Contexts())
				assert.Empty(t, far.Contexts())
				return
			}
			assert.Equal(t, []upper.Context{tt.near}, near.Contexts())
			assert.Equal(t, []upper.Context{tt.far}, far.Contexts())
			assert.Equal(t, "CATH2", far.Caller().Calling)
			assert.Equal(t, "AFTERBEAM", far.Caller().Called)
			assert.Equal(t, upper.ImplementationUID, far.Caller().Implementation)
		})
	}
}

// TestMessages sends data sets of awkward lengths through PDUs of awkward lengths, both ways at the same time.
func TestMessages(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		near, far := limits(), limits()
		near.PDU = rapid.SampledFrom([]int{upper.LeastPDU, 5000, 16384, upper.MostPDU}).Draw(rt, "near PDU")
		far.PDU = rapid.SampledFrom([]int{upper.LeastPDU, 4097, upper.MostPDU}).Draw(rt, "far PDU")
		size := rapid.SampledFrom([]int{0, 1, 4090, 4091, 2 * 4090, 3*4090 + 1, 100_000}).Draw(rt, "size")
		data := bytes.Repeat([]byte("dose"), size/4+1)[:size]
		a, b := pair(t, near, far, upper.Each(class, upper.ImplicitLittle)...)
		failed := make(chan error, 1)
		go func() {
			failed <- func() error {
				for {
					m, err := b.Next(context.Background())
					if errors.Is(err, io.EOF) {
						return nil
					}
					if err != nil {
						return err
					}
					got, err := io.ReadAll(m.Data)
					if err != nil {
						return err
					}
					if err := b.Send(m.Context.ID, m.Command.Respond(upper.StatusNotMatching), bytes.NewReader(got)); err != nil {
						return err
					}
				}
			}()
		}()
		for range 3 {
			m, err := a.Ask(context.Background(), 1, upper.Command{Field: upper.CStore, AffectedClass: class, AffectedInstance: "2.25.1"}, iotest.HalfReader(bytes.NewReader(data)))
			require.NoError(rt, err)
			assert.Equal(rt, upper.StatusNotMatching, m.Command.Status)
			assert.Equal(rt, "2.25.1", m.Command.AffectedInstance)
			got, err := io.ReadAll(m.Data)
			require.NoError(rt, err)
			require.True(rt, bytes.Equal(data, got))
		}
		require.NoError(rt, a.Release())
		require.NoError(rt, <-failed)
		require.ErrorIs(rt, a.Send(1, upper.Command{Field: upper.CEcho}, nil), upper.ErrClosed)
	})
}

// TestUnreadDataIsSkipped answers before the data set was read, and over the limit.
func TestUnreadDataIsSkipped(t *testing.T) {
	small := limits()
	small.DataSet = 1000
	a, b := pair(t, limits(), small, upper.Each(class, upper.ImplicitLittle)...)
	done := make(chan error, 1)
	go func() {
		done <- func() error {
			m, err := b.Next(context.Background())
			if err != nil {
				return err
			}
			if n, err := io.Copy(io.Discard, m.Data); n != 1000 || !errors.Is(err, upper.ErrTooLarge) {
				return errors.New("the limit was not kept")
			}
			if err := errors.Join(b.Skip(), b.Send(1, m.Command.Respond(upper.StatusNotUnderstood), nil)); err != nil {
				return err
			}
			if m, err = b.Next(context.Background()); err != nil {
				return err
			}
			return b.Send(1, m.Command.Respond(upper.Success), nil)
		}()
	}()
	for _, want := range []upper.Status{upper.StatusNotUnderstood, upper.Success} {
		m, err := a.Ask(context.Background(), 1, upper.Command{Field: upper.CStore}, strings.NewReader(strings.Repeat("x", 300_000)))
		require.NoError(t, err)
		assert.Equal(t, want, m.Command.Status)
	}
	require.NoError(t, <-done)
}

func TestNextEndsWithItsContextAlone(t *testing.T) {
	a, b := pair(t, limits(), limits(), upper.Each(upper.Verification, upper.ImplicitLittle)...)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := b.Next(ctx)
	require.ErrorIs(t, err, context.Canceled)
	require.NoError(t, a.Send(1, upper.Command{Field: upper.CEcho, MessageID: 7}, nil))
	m, err := b.Next(context.Background())
	require.NoError(t, err, "the association can still be used")
	assert.Equal(t, uint16(7), m.Command.MessageID)
	assert.Nil(t, m.Data)
}

func TestAbort(t *testing.T) {
	a, b := pair(t, limits(), limits(), upper.Each(upper.Verification, upper.ImplicitLittle)...)
	a.Abort()
	_, err := b.Next(context.Background())
	aborted := new(upper.Aborted)
	require.ErrorAs(t, err, &aborted)
	assert.Equal(t, upper.Aborted{Source: 0}, *aborted)
	_, err = a.Next(context.Background())
	require.ErrorIs(t, err, upper.ErrClosed)
}

func TestEndOfContextAborts(t *testing.T) {
	c1, c2 := wire(t)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() {
		a, err := upper.Acceptor{Limits: limits(), Offers: everything}.Accept(ctx, c2)
		if err == nil {
			_, err = a.Next(context.Background())
		}
		ended <- err
	}()
	a, err := upper.Requestor{Limits: limits(), Calling: "CATH2"}.Request(context.Background(), c1, "AFTERBEAM", upper.Each(class, upper.ImplicitLittle))
	require.NoError(t, err)
	cancel()
	require.ErrorIs(t, <-ended, context.Canceled)
	_, err = a.Next(context.Background())
	aborted := new(upper.Aborted)
	require.ErrorAs(t, err, &aborted)
}

func TestSourceThatFailsAborts(t *testing.T) {
	a, b := pair(t, limits(), limits(), upper.Each(class, upper.ImplicitLittle)...)
	source := errors.New("disk")
	err := a.Send(1, upper.Command{Field: upper.CStore, MessageID: 1}, io.MultiReader(strings.NewReader(strings.Repeat("x", 200_000)), iotest.ErrReader(source)))
	require.ErrorIs(t, err, source)
	m, err := b.Next(context.Background())
	require.NoError(t, err)
	_, err = io.Copy(io.Discard, m.Data)
	aborted := new(upper.Aborted)
	require.ErrorAs(t, err, &aborted, "a part is no data set")
}

func TestRejection(t *testing.T) {
	for _, want := range []*upper.Rejection{upper.RejectCalled, upper.RejectCalling, upper.RejectLimit, upper.RejectBusy} {
		c1, c2 := wire(t)
		done := make(chan error, 1)
		go func() {
			_, err := upper.Acceptor{Limits: limits(), Offers: everything, Admit: func(upper.Caller) error { return want }}.Accept(context.Background(), c2)
			done <- err
		}()
		_, err := upper.Requestor{Limits: limits(), Calling: "CATH2"}.Request(context.Background(), c1, "AFTERBEAM", upper.Each(class, upper.ImplicitLittle))
		got := new(upper.Rejection)
		require.ErrorAs(t, err, &got)
		assert.Equal(t, *want, *got)
		require.ErrorIs(t, <-done, want)
	}
}

// TestReleaseCollision has both ends release at once.
func TestReleaseCollision(t *testing.T) {
	a, b := pair(t, limits(), limits(), upper.Each(class, upper.ImplicitLittle)...)
	done := make(chan error, 1)
	go func() { done <- b.Release() }()
	require.NoError(t, a.Release())
	require.NoError(t, <-done)
}

func TestSilenceEnds(t *testing.T) {
	short := limits()
	short.Idle = 50 * time.Millisecond
	_, b := pair(t, limits(), short, upper.Each(class, upper.ImplicitLittle)...)
	_, err := b.Next(context.Background())
	var timeout interface{ Timeout() bool }
	require.ErrorAs(t, err, &timeout)
	assert.True(t, timeout.Timeout())
}

// TestSlowCallerEnds has a caller that never asks.
func TestSlowCallerEnds(t *testing.T) {
	_, c2 := wire(t)
	short := limits()
	short.ARTIM = 50 * time.Millisecond
	_, err := upper.Acceptor{Limits: short, Offers: everything}.Accept(context.Background(), c2)
	var timeout interface{ Timeout() bool }
	require.ErrorAs(t, err, &timeout)
}
