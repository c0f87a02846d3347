package upper

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"

	"afterbeam/internal/crashpoint"
)

// pdvHeader is the length of a PDV's own length, context and control (PS3.8 9.3.5.1).
const pdvHeader = 6

// Message is a received command with its data set.
type Message struct {
	Context Context
	Command Command
	// Data reads the data set as it arrives, nil when there is none. It ends with io.EOF where the data set ends, with
	// ErrTooLarge at the limit, and with anything else when the association broke; then nothing of it counts. It must not
	// be used after the next call of Next, Release or Abort.
	Data io.Reader
}

// pdv is one fragment of a message.
type pdv struct {
	context       byte
	command, last bool
	data          []byte
}

// next gives the next fragment.
func (a *Association) next() (pdv, error) {
	if len(a.rest) == 0 {
		p, err := a.read()
		if err != nil {
			return pdv{}, err
		}
		if p.kind != pduData {
			if p.kind == pduReleaseRQ && a.between {
				return pdv{}, errReleased
			}
			return pdv{}, unexpected(p)
		}
		a.rest = p.body
	}
	if len(a.rest) < pdvHeader {
		return pdv{}, broken(ReasonInvalidParameter, "P-DATA with %d bytes where a fragment should begin", len(a.rest))
	}
	length := binary.BigEndian.Uint32(a.rest)
	if length < 2 || uint64(length) > uint64(len(a.rest)-4) {
		return pdv{}, broken(ReasonInvalidParameter, "fragment is %d bytes long, %d are left", length, len(a.rest)-4)
	}
	control := a.rest[5]
	v := pdv{a.rest[4], control&1 != 0, control&2 != 0, a.rest[pdvHeader : 4+length]}
	a.rest = a.rest[4+length:]
	return v, nil
}

// errReleased is an A-RELEASE-RQ between two messages.
var errReleased = errors.New("released by the peer")

// Next waits for a message of the peer. It returns io.EOF when the peer released the association, which is then answered
// and closed, and ctx's cause when ctx ended while no message had begun; the association can then still be used.
func (a *Association) Next(ctx context.Context) (*Message, error) {
	if err := a.skip(); err != nil {
		return nil, err
	}
	m, err := a.command(ctx)
	switch {
	case err == nil:
		return m, nil
	case errors.Is(err, errWoken):
		return nil, context.Cause(ctx)
	case errors.Is(err, errReleased):
		a.finish(shortPDU(pduReleaseRP, 0, 0, 0), ErrClosed)
		return nil, io.EOF
	case errors.Is(err, io.EOF):
		err = io.ErrUnexpectedEOF // the connection ended without a release
	}
	return nil, a.fail(err)
}

// await waits for the first fragment of a message, which ctx may end.
func (a *Association) await(ctx context.Context) (pdv, error) {
	a.mu.Lock()
	a.waiting, a.awake = true, false
	a.mu.Unlock()
	a.until, a.between = time.Time{}, true
	stop := func() bool { return true }
	if ctx.Done() != nil {
		stop = context.AfterFunc(ctx, a.wake)
	}
	v, err := a.next()
	a.between = false
	a.mu.Lock()
	woken := a.awake && a.waiting
	a.waiting, a.awake = false, false
	a.mu.Unlock()
	stop()
	if err != nil && woken {
		return v, errWoken
	}
	return v, err
}

func (a *Association) wake() {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.waiting {
		a.awake = true
		_ = a.conn.SetReadDeadline(time.Unix(1, 0))
	}
}

// command reads a command set.
func (a *Association) command(ctx context.Context) (*Message, error) {
	v, err := a.await(ctx)
	if err != nil {
		return nil, err
	}
	a.until = time.Now().Add(a.limits.Message)
	c, known := a.context(v.context)
	set := bytes.Clone(v.data) // the next PDU is read into the same memory
	for {
		switch {
		case !known:
			return nil, broken(ReasonInvalidParameter, "fragment for presentation context %d, which is not agreed", v.context)
		case v.context != c.ID:
			return nil, broken(ReasonInvalidParameter, "fragment for presentation context %d within a command of %d", v.context, c.ID)
		case !v.command:
			return nil, broken(ReasonInvalidParameter, "data set where a command should be")
		case len(set) > mostCommand:
			return nil, broken(ReasonInvalidParameter, "command set of more than %d bytes", mostCommand)
		}
		if v.last {
			break
		}
		if v, err = a.next(); err != nil {
			return nil, err
		}
		set = append(set, v.data...)
	}
	m := &Message{Context: c}
	if err := m.Command.UnmarshalBinary(set); err != nil {
		return nil, err
	}
	if m.Command.HasData {
		a.message = &body{a: a, context: c.ID, left: a.limits.DataSet}
		m.Data = a.message
	}
	return m, nil
}

// skip reads what is left of the message before.
func (a *Association) skip() error {
	if a.message == nil {
		return nil
	}
	m := a.message
	for !m.done {
		if err := m.advance(); err != nil {
			return err
		}
	}
	a.message = nil
	return nil
}

// Skip reads the rest of the message's data set, of any length within Limits.Message, and drops it, so that the answer
// comes after the whole request.
func (a *Association) Skip() error { return a.skip() }

// body reads the data set of a message.
type body struct {
	a       *Association
	context byte
	left    int64 // of the limit
	data    []byte
	done    bool
	failed  error
	// fragments counts what arrived.
	fragments int
}

// Read gives the next bytes of the data set.
func (b *body) Read(p []byte) (int, error) {
	for len(b.data) == 0 && !b.done {
		if err := b.advance(); err != nil {
			return 0, err
		}
	}
	if len(b.data) == 0 {
		return 0, io.EOF
	}
	if b.left <= 0 {
		return 0, ErrTooLarge
	}
	n := copy(p[:min(int64(len(p)), b.left)], b.data)
	b.data, b.left = b.data[n:], b.left-int64(n)
	return n, nil
}

// advance takes the next fragment.
func (b *body) advance() error {
	if b.failed != nil {
		return b.failed
	}
	v, err := b.a.next()
	if err == nil {
		switch {
		case v.context != b.context:
			err = broken(ReasonInvalidParameter, "fragment for presentation context %d within a data set of %d", v.context, b.context)
		case v.command:
			err = broken(ReasonInvalidParameter, "command where a data set should go on")
		}
	}
	if err != nil {
		if errors.Is(err, io.EOF) {
			err = io.ErrUnexpectedEOF
		}
		b.failed = b.a.fail(err)
		return b.failed
	}
	b.data, b.done = v.data, v.last
	b.fragments++
	crashpoint.Reached(crashpoint.DataArrived, strconv.Itoa(b.fragments))
	return nil
}

// Send sends a command with its data set, nil for none, in fragments that the peer takes. When data fails the message
// cannot be ended, and the association is aborted.
func (a *Association) Send(contextID uint8, c Command, data io.Reader) error {
	if _, ok := a.context(contextID); !ok {
		return fmt.Errorf("presentation context %d is not agreed", contextID)
	}
	c.HasData = data != nil
	out := a.fragments(a.out[:0], contextID, c.append(nil))
	var err error
	if data == nil {
		err = a.write(out)
	} else {
		err = a.stream(out, contextID, data)
	}
	a.out = out[:0]
	if err == nil {
		return nil
	}
	if broke := new(sourceError); errors.As(err, &broke) {
		a.Abort()
		return broke.error
	}
	a.close(err)
	return a.cause()
}

// Ask sends a request under a new message ID and waits for its answer. A message of the peer's own that comes instead
// breaks the protocol here; who expects one uses Send and Next.
func (a *Association) Ask(ctx context.Context, contextID uint8, c Command, data io.Reader) (*Message, error) {
	c.MessageID = a.MessageID()
	if err := a.Send(contextID, c, data); err != nil {
		return nil, err
	}
	m, err := a.Next(ctx)
	if errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("%w: released instead of an answer", ErrProtocol)
	}
	if err != nil {
		return nil, err
	}
	if m.Command.Field != c.Field|responding || m.Command.RespondedTo != c.MessageID {
		return nil, a.fail(broken(ReasonNone, "message %v to %d instead of the answer to %v %d", m.Command.Field, m.Command.RespondedTo, c.Field, c.MessageID))
	}
	return m, nil
}

// fragments appends the P-DATA-TFs of a command set.
func (a *Association) fragments(to []byte, context byte, set []byte) []byte {
	for {
		n := min(len(set), a.fragment)
		control := byte(1)
		if n == len(set) {
			control = 3
		}
		to = append(appendFragment(to, n, context, control), set[:n]...)
		if set = set[n:]; len(set) == 0 {
			return to
		}
	}
}

// appendFragment appends the headers of a P-DATA-TF with one fragment of n bytes.
func appendFragment(to []byte, n int, context, control byte) []byte {
	to = append(to, pduData, 0)
	to = binary.BigEndian.AppendUint32(to, uint32(n+pdvHeader))
	to = binary.BigEndian.AppendUint32(to, uint32(n+2))
	return append(to, context, control)
}

// sourceError is a data set that could not be read by its sender.
type sourceError struct{ error }

// stream writes what is in out and a data set behind it. Whether a fragment is the last is known when the next byte was
// asked for.
func (a *Association) stream(out []byte, context byte, data io.Reader) error {
	piece := make([]byte, a.fragment+1)
	held := 0 // one byte read beyond the fragment before
	for {
		n, err := io.ReadFull(data, piece[held:])
		n += held
		last := errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF)
		if err != nil && !last {
			return &sourceError{err}
		}
		control, size := byte(0), a.fragment
		if last {
			control, size = 2, n
		}
		out = append(appendFragment(out, size, context, control), piece[:size]...)
		if err := a.write(out); err != nil || last {
			return err
		}
		piece[0], held, out = piece[a.fragment], 1, out[:0]
	}
}
