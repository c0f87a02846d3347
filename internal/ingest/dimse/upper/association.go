package upper

import (
	"bufio"
	"context"
	"errors"
	"io"
	"net"
	"sync"
	"sync/atomic"
	"time"
)

// Association is an agreed association. See the package comment for its use.
type Association struct {
	conn      net.Conn
	limits    Limits
	requestor bool
	caller    Caller
	contexts  []Context
	fragment  int // most bytes of a message in one PDU to the peer

	in       *bufio.Reader
	buf      []byte    // of the last PDU that was read
	rest     []byte    // what is left of it
	message  *body     // the data set that is being read, nil between messages
	until    time.Time // when what goes on must be over, zero for nothing
	between  bool      // two messages
	lastSent uint16
	out      []byte

	detach func() bool // from the context that ends the association

	// ending is why another goroutine ends it: it stands before the connection is closed, so that an error of that is
	// not taken for the reason.
	ending atomic.Pointer[error]

	mu      sync.Mutex // of what follows and of everything written
	over    error      // why it is over
	waiting bool       // for the first byte of a message
	awake   bool       // the wait was cut by its context
}

func newAssociation(ctx context.Context, conn net.Conn, limits Limits, requestor bool) *Association {
	a := &Association{conn: conn, limits: limits, requestor: requestor, in: bufio.NewReaderSize(conn, 8<<10)}
	a.detach = context.AfterFunc(ctx, func() { a.cut(context.Cause(ctx)) })
	return a
}

// Caller says who asked for the association and whom. For a requestor Remote, Implementation and Version are the peer's.
func (a *Association) Caller() Caller { return a.caller }

// Conn gives the connection, for its addresses and its TLS state alone.
func (a *Association) Conn() net.Conn { return a.conn }

// Contexts lists the accepted presentation contexts.
func (a *Association) Contexts() []Context { return a.contexts }

// Find gives the first accepted context of an abstract syntax.
func (a *Association) Find(abstract string) (Context, bool) {
	for _, c := range a.contexts {
		if c.Abstract == abstract {
			return c, true
		}
	}
	return Context{}, false
}

func (a *Association) context(id byte) (Context, bool) {
	for _, c := range a.contexts {
		if c.ID == id {
			return c, true
		}
	}
	return Context{}, false
}

// MessageID gives a new message ID for a request.
func (a *Association) MessageID() uint16 {
	a.lastSent++
	return a.lastSent
}

// read reads one PDU: silence is bounded, then the PDU's own time.
func (a *Association) read() (pdu, error) {
	if a.in.Buffered() == 0 {
		if err := a.deadline(a.limits.Idle, false); err != nil {
			return pdu{}, err
		}
		if _, err := a.in.Peek(1); err != nil {
			return pdu{}, err
		}
	}
	if err := a.deadline(a.limits.Transfer, true); err != nil {
		return pdu{}, err
	}
	p, buf, err := readPDU(a.in, a.limits.PDU, a.buf)
	a.buf = buf
	return p, err
}

// deadline bounds the next reading, by its own time and by that of what it is a part of. What has begun to arrive is no
// longer waited for.
func (a *Association) deadline(d time.Duration, begun bool) error {
	at := time.Now().Add(d)
	if !a.until.IsZero() && a.until.Before(at) {
		at = a.until
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if begun {
		a.waiting = false
	}
	if a.waiting && a.awake {
		return errWoken
	}
	return a.conn.SetReadDeadline(at)
}

// errWoken is the end of a wait by its context.
var errWoken = errors.New("wait ended")

// write sends PDUs.
func (a *Association) write(b []byte) error {
	return a.writeWithin(b, a.limits.Transfer)
}

func (a *Association) writeWithin(b []byte, d time.Duration) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.over != nil {
		return a.over
	}
	if err := a.conn.SetWriteDeadline(time.Now().Add(d)); err != nil {
		return err
	}
	_, err := a.conn.Write(b)
	return err
}

// fail ends the association after an error and gives it back: a peer that broke the protocol, or was too slow, gets an
// A-ABORT that says so, a refused one the time to read the refusal.
func (a *Association) fail(err error) error {
	var f *fault
	var refused *Rejection
	var timeout net.Error
	switch {
	case errors.As(err, &f):
		a.finish(shortPDU(pduAbort, 0, 2, byte(f.reason)), err)
	case errors.As(err, &refused) && !a.requestor:
		a.finish(nil, err)
	case errors.As(err, &timeout) && timeout.Timeout():
		a.finish(shortPDU(pduAbort, 0, 2, byte(ReasonNone)), err)
	default:
		a.close(err)
	}
	return a.cause()
}

// cause gives the reason why the association is over: the first one.
func (a *Association) cause() error {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.over
}

// close ends the association without a word.
func (a *Association) close(err error) {
	a.detach()
	a.mu.Lock()
	defer a.mu.Unlock()
	a.closeLocked(err)
}

func (a *Association) closeLocked(err error) {
	if a.over != nil {
		return
	}
	if why := a.ending.Load(); why != nil {
		err = *why
	}
	a.over = err
	_ = a.conn.Close()
}

// lingering bounds how long and how much is read of a peer that was told the end: closing with unread bytes would reset
// the connection, and the last PDU could be lost (PS3.8 9.2 Sta13).
const (
	lingerTime = 2 * time.Second
	lingerSize = 1 << 20
)

// finish sends a last PDU, waits a little for the peer to close, and closes.
func (a *Association) finish(last []byte, err error) {
	if last != nil && a.writeWithin(last, lingerTime) != nil {
		a.close(err)
		return
	}
	_ = a.conn.SetReadDeadline(time.Now().Add(min(lingerTime, a.limits.ARTIM)))
	_, _ = io.CopyN(io.Discard, a.in, lingerSize)
	a.close(err)
}

// Abort ends the association at once with an A-ABORT of the service user. Any goroutine may call it; what goes
// on ends with ErrClosed.
func (a *Association) Abort() { a.cut(ErrClosed) }

func (a *Association) cut(cause error) {
	a.ending.CompareAndSwap(nil, &cause)
	a.detach()
	if a.lockSoon() {
		if a.over == nil {
			_ = a.conn.SetWriteDeadline(time.Now().Add(time.Second))
			_, _ = a.conn.Write(shortPDU(pduAbort, 0, 0, 0))
		}
	} else { // a write goes on, and nothing could be put behind it
		_ = a.conn.Close()
		a.mu.Lock()
	}
	defer a.mu.Unlock()
	a.closeLocked(cause)
}

// lockSoon takes the lock unless a write holds it; anything else that does holds it for microseconds.
func (a *Association) lockSoon() bool {
	for range 50 {
		if a.mu.TryLock() {
			return true
		}
		time.Sleep(time.Millisecond)
	}
	return false
}

// Release ends the association in order and closes the connection. Messages of the peer that are still under way are
// dropped. When both release at once, the requestor answers first (PS3.8 9.2 Sta9 to Sta12).
func (a *Association) Release() error {
	if err := a.write(shortPDU(pduReleaseRQ, 0, 0, 0)); err != nil {
		return a.fail(err)
	}
	a.until = time.Now().Add(a.limits.ARTIM)
	collided := false
	for {
		p, err := a.read()
		if err != nil {
			return a.fail(err)
		}
		switch p.kind {
		case pduData:
		case pduReleaseRQ:
			collided = true
			if a.requestor {
				if err := a.write(shortPDU(pduReleaseRP, 0, 0, 0)); err != nil {
					return a.fail(err)
				}
			}
		case pduReleaseRP:
			if collided && !a.requestor {
				a.finish(shortPDU(pduReleaseRP, 0, 0, 0), ErrClosed)
				return nil
			}
			a.close(ErrClosed)
			return nil
		default:
			return a.fail(unexpected(p))
		}
	}
}
