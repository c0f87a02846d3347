package upper_test

import (
	"context"
	"net"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest/dimse/upper"
)

const class = "1.2.840.10008.5.1.4.1.1.88.67"

func limits() upper.Limits {
	l := upper.DefaultLimits()
	l.ARTIM, l.Idle, l.Transfer = 20*time.Second, 20*time.Second, 20*time.Second
	return l
}

// everything accepts the dose report class with roles and two transfer syntaxes, and verification.
func everything(abstract string) (upper.Offer, bool) {
	switch abstract {
	case class:
		return upper.Offer{Transfer: []string{upper.ExplicitLittle, upper.ImplicitLittle}, SCU: true}, true
	case upper.Verification:
		return upper.Offer{Transfer: []string{upper.ImplicitLittle}}, true
	}
	return upper.Offer{}, false
}

// wire gives the two ends of a connection on loopback.
func wire(t testing.TB) (near, far net.Conn) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer func() { require.NoError(t, l.Close()) }()
	near, err = net.Dial("tcp", l.Addr().String())
	require.NoError(t, err)
	far, err = l.Accept()
	require.NoError(t, err)
	t.Cleanup(func() {
		_ = near.Close()
		_ = far.Close()
	})
	return near, far
}

type accepted struct {
	a   *upper.Association
	err error
}

// pair makes an association between two of our own ends.
func pair(t testing.TB, near, far upper.Limits, proposals ...upper.Proposal) (requestor, acceptor *upper.Association) {
	t.Helper()
	c1, c2 := wire(t)
	done := make(chan accepted, 1)
	go func() {
		a, err := upper.Acceptor{Limits: far, Offers: everything}.Accept(context.Background(), c2)
		done <- accepted{a, err}
	}()
	requestor, err := upper.Requestor{Limits: near, Calling: "CATH2"}.Request(context.Background(), c1, "AFTERBEAM", proposals)
	require.NoError(t, err)
	other := <-done
	require.NoError(t, other.err)
	return requestor, other.a
}
