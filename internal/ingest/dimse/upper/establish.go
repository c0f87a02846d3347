package upper

import (
	"context"
	"errors"
	"fmt"
	"net"
	"time"
)

// Acceptor answers requests for associations.
type Acceptor struct {
	Limits Limits
	// Admit decides about a caller, nil about none: nil lets in, a *Rejection refuses, and any other error refuses without a reason.
	Admit func(Caller) error
	// Offers tells what is accepted of an abstract syntax.
	Offers func(abstract string) (Offer, bool)
}

// Accept reads the request for an association from a new connection and answers it. The association ends with ctx. With
// an error the connection is closed: a *Rejection when the caller was refused, ErrProtocol, or what the network said.
func (a Acceptor) Accept(ctx context.Context, conn net.Conn) (*Association, error) {
	s := newAssociation(ctx, conn, a.Limits, false)
	err := s.establish(func() error { return a.answer(s) })
	if err != nil {
		return nil, err
	}
	return s, nil
}

func (a Acceptor) answer(s *Association) error {
	p, err := s.read()
	if err != nil {
		return err
	}
	if p.kind != pduAssociateRQ {
		return unexpected(p)
	}
	rq, err := readAssociate(p.body)
	if err != nil {
		return err
	}
	s.caller = Caller{rq.calling, rq.called, s.conn.RemoteAddr(), rq.implementation, rq.versionName}
	if err := a.judge(s, rq); err != nil {
		r := RejectNoReason
		errors.As(err, &r)
		return errors.Join(err, s.write(shortPDU(pduAssociateRJ, r.Result, r.Source, r.Reason)))
	}
	answer, accepted := rq.agree(a.Offers)
	if err := s.agreed(accepted, rq); err != nil {
		return err
	}
	s.introduce(&answer)
	return s.write(answer.append(nil, pduAssociateAC))
}

func (a Acceptor) judge(s *Association, rq *associate) error {
	switch {
	case rq.version&protocolVersion == 0:
		return RejectVersion
	case rq.application != ApplicationContext:
		return RejectApplication
	}
	if a.Admit == nil {
		return nil
	}
	return a.Admit(s.caller)
}

// Requestor asks for associations in the name of an AE title.
type Requestor struct {
	Limits  Limits
	Calling string
	// Dialer makes the connections; a *tls.Dialer makes encrypted ones. nil is a plain net.Dialer.
	Dialer interface {
		DialContext(ctx context.Context, network, address string) (net.Conn, error)
	}
}

// Dial connects to a peer and asks for an association with it.
func (r Requestor) Dial(ctx context.Context, address, called string, proposals []Proposal) (*Association, error) {
	var d interface {
		DialContext(ctx context.Context, network, address string) (net.Conn, error)
	} = &net.Dialer{}
	if r.Dialer != nil {
		d = r.Dialer
	}
	dialing, stop := context.WithTimeout(ctx, r.Limits.ARTIM)
	defer stop()
	conn, err := d.DialContext(dialing, "tcp", address)
	if err != nil {
		return nil, err
	}
	return r.Request(ctx, conn, called, proposals)
}

// Request asks for an association on a connection. The association ends with ctx. With an error the connection is closed:
// a *Rejection, an *Aborted, ErrProtocol, or what the network said. An association without any accepted context is
// returned like every other: look into Contexts.
func (r Requestor) Request(ctx context.Context, conn net.Conn, called string, proposals []Proposal) (*Association, error) {
	if len(proposals) == 0 || len(proposals) > mostContexts {
		return nil, errors.Join(fmt.Errorf("association wants 1 to %d presentation contexts, got %d", mostContexts, len(proposals)), conn.Close())
	}
	s := newAssociation(ctx, conn, r.Limits, true)
	s.caller = Caller{Calling: r.Calling, Called: called, Remote: conn.RemoteAddr()}
	if err := s.establish(func() error { return s.request(proposals) }); err != nil {
		return nil, err
	}
	return s, nil
}

func (a *Association) request(proposals []Proposal) error {
	rq := propose(a.caller.Calling, a.caller.Called, proposals)
	a.introduce(&rq)
	if err := a.write(rq.append(nil, pduAssociateRQ)); err != nil {
		return err
	}
	p, err := a.read()
	if err != nil {
		return err
	}
	switch p.kind {
	case pduAssociateAC:
	case pduAssociateRJ:
		return &Rejection{p.body[1], p.body[2], p.body[3]}
	default:
		return unexpected(p)
	}
	answer, err := readAssociate(p.body)
	if err != nil {
		return err
	}
	accepted, err := rq.agreed(answer)
	if err != nil {
		return err
	}
	a.caller.Implementation, a.caller.Version = answer.implementation, answer.versionName
	return a.agreed(accepted, answer)
}

// establish runs the exchange that makes an association, under the timer of PS3.8 9.1.5, and ends the connection when it
// fails.
func (a *Association) establish(exchange func() error) error {
	a.until = time.Now().Add(a.limits.ARTIM)
	err := exchange()
	a.until = time.Time{}
	if err == nil {
		return nil
	}
	return a.fail(err)
}

func (a *Association) introduce(to *associate) {
	to.maxLength, to.implementation, to.versionName = uint32(a.limits.PDU), ImplementationUID, ImplementationVersion
}

// defaultPeerPDU is taken when a peer does not say how much it reads.
const defaultPeerPDU = 16 << 10

// agreed notes what was negotiated.
func (a *Association) agreed(accepted []Context, peer *associate) error {
	a.contexts = accepted
	a.fragment = MostPDU
	if !peer.hasMaxLength {
		a.fragment = defaultPeerPDU
	}
	if peer.maxLength != 0 {
		a.fragment = int(min(peer.maxLength, MostPDU))
	}
	if a.fragment < leastPeerPDU {
		return broken(ReasonInvalidParameter, "maximum PDU length of %d bytes", a.fragment)
	}
	a.fragment = (a.fragment - pdvHeader) &^ 1 // fragments are of even length
	return nil
}

func unexpected(p pdu) error {
	if p.kind == pduAbort {
		return &Aborted{p.body[2], Reason(p.body[3])}
	}
	return broken(ReasonUnexpectedPDU, "PDU of type %02X was not expected", p.kind)
}
