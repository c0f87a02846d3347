package dimse

import (
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"fmt"
	"log/slog"
	"net"
	"net/netip"
	"slices"
	"strings"

	"afterbeam/internal/aetitle"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/store"
)

// Caller is who may call. Addresses and Certificate narrow a title down; empty ones do not.
type Caller struct {
	Title     string
	Addresses []netip.Prefix
	// Certificate is "sha256:" with the fingerprint of the client certificate in hex, or the common name of its subject.
	Certificate string
}

// Peer is who called.
type Peer struct {
	Title       string
	Address     netip.Addr
	Certificate *x509.Certificate // nil without one
	// Log carries title and address.
	Log *slog.Logger
}

// Actor is the peer in the audit record.
func (p Peer) Actor() store.Actor {
	return store.Actor{Account: "ae:" + p.Title, Role: "service", Session: fingerprint(p.Certificate), Source: p.Address.String()}
}

const fingerprintPrefix = "sha256:"

func fingerprint(c *x509.Certificate) string {
	if c == nil {
		return ""
	}
	sum := sha256.Sum256(c.Raw)
	return fingerprintPrefix + hex.EncodeToString(sum[:])
}

// Validate tells what is wrong with a caller.
func (c Caller) Validate() error {
	if err := aetitle.Check(c.Title); err != nil {
		return fmt.Errorf("AE title %w", err)
	}
	digits, pinned := strings.CutPrefix(c.Certificate, fingerprintPrefix)
	if sum, err := hex.DecodeString(digits); pinned && (err != nil || len(sum) != sha256.Size) {
		return fmt.Errorf("caller %s: certificate wants sha256: and 64 hex digits", c.Title)
	}
	return nil
}

// is tells whether a peer is this caller.
func (c Caller) is(p Peer) bool {
	if c.Title != p.Title {
		return false
	}
	if len(c.Addresses) > 0 && !slices.ContainsFunc(c.Addresses, func(n netip.Prefix) bool { return n.Contains(p.Address) }) {
		return false
	}
	switch {
	case c.Certificate == "":
		return true
	case p.Certificate == nil:
		return false
	case strings.HasPrefix(c.Certificate, fingerprintPrefix):
		return strings.EqualFold(c.Certificate, fingerprint(p.Certificate))
	}
	return c.Certificate == p.Certificate.Subject.CommonName
}

// admit decides about a caller by titles and list.
func (d *Door) admit(p Peer, called string) error {
	switch {
	case called != d.cfg.Title:
		return upper.RejectCalled
	case aetitle.Check(p.Title) != nil:
		return upper.RejectCalling
	case len(d.cfg.Callers) > 0 && !slices.ContainsFunc(d.cfg.Callers, func(c Caller) bool { return c.is(p) }):
		return upper.RejectCalling
	}
	return nil
}

// address gives the address of the other end; IPv4 is IPv4 also where it came in IPv6's form.
func address(conn net.Conn) netip.Addr {
	at, err := netip.ParseAddrPort(conn.RemoteAddr().String())
	if err != nil {
		return netip.Addr{}
	}
	return at.Addr().Unmap()
}

// presented gives the client certificate of a connection, nil for none.
func presented(conn net.Conn) *x509.Certificate {
	encrypted, ok := conn.(*tls.Conn)
	if !ok {
		return nil
	}
	if chain := encrypted.ConnectionState().PeerCertificates; len(chain) > 0 {
		return chain[0]
	}
	return nil
}
