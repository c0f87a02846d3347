package upper_test

import (
	"bytes"
	"context"
	"io"
	"net"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest/dimse/upper"
)

// FuzzCommandSet reads any bytes as a command set; what is read is written and read again alike.
func FuzzCommandSet(f *testing.F) {
	for _, c := range commands() {
		raw, err := c.MarshalBinary()
		require.NoError(f, err)
		f.Add(raw)
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		var once, twice upper.Command
		if once.UnmarshalBinary(raw) != nil {
			return
		}
		again, err := once.MarshalBinary()
		require.NoError(t, err)
		require.NoError(t, twice.UnmarshalBinary(again))
		// What a message of this kind does not carry is not written.
		final, err := twice.MarshalBinary()
		require.NoError(t, err)
		assert.Equal(t, again, final)
	})
}

// recorded is a connection from whose other end fixed bytes came.
type recorded struct {
	in  *bytes.Reader
	out bytes.Buffer
}

func (r *recorded) Read(p []byte) (int, error)       { return r.in.Read(p) }
func (r *recorded) Write(p []byte) (int, error)      { return r.out.Write(p) }
func (r *recorded) Close() error                     { return nil }
func (r *recorded) LocalAddr() net.Addr              { return &net.TCPAddr{} }
func (r *recorded) RemoteAddr() net.Addr             { return &net.TCPAddr{} }
func (r *recorded) SetDeadline(time.Time) error      { return nil }
func (r *recorded) SetReadDeadline(time.Time) error  { return nil }
func (r *recorded) SetWriteDeadline(time.Time) error { return nil }

// session runs an accepting end that answers everything over what a peer sent, and tells how it ended.
func session(conn net.Conn) (messages int, err error) {
	a, err := upper.Acceptor{Limits: limits(), Offers: everything}.Accept(context.Background(), conn)
	for err == nil {
		var m *upper.Message
		if m, err = a.Next(context.Background()); err != nil {
			break
		}
		messages++
		if m.Data != nil {
			if _, err = io.Copy(io.Discard, m.Data); err != nil {
				break
			}
		}
		err = a.Send(m.Context.ID, m.Command.Respond(upper.Success), nil)
	}
	return messages, err
}

// talk records what a requestor sends: an echo, a stored object, a release.
func talk(t testing.TB) []byte {
	t.Helper()
	c1, c2 := wire(t)
	done := make(chan struct{})
	tap := &tapped{Conn: c2}
	go func() {
		defer close(done)
		_, _ = session(tap)
	}()
	a, err := upper.Requestor{Limits: limits(), Calling: "CATH2"}.Request(context.Background(), c1, "AFTERBEAM",
		append(upper.Each(upper.Verification, upper.ImplicitLittle), upper.Each(class, upper.ExplicitLittle)...))
	require.NoError(t, err)
	_, err = a.Ask(context.Background(), 1, upper.Command{Field: upper.CEcho, AffectedClass: upper.Verification}, nil)
	require.NoError(t, err)
	_, err = a.Ask(context.Background(), 3, upper.Command{Field: upper.CStore, AffectedClass: class, AffectedInstance: "2.25.1"}, bytes.NewReader(make([]byte, 300)))
	require.NoError(t, err)
	require.NoError(t, a.Release())
	<-done
	return tap.read.Bytes()
}

type tapped struct {
	net.Conn
	read bytes.Buffer
}

func (t *tapped) Read(p []byte) (int, error) {
	n, err := t.Conn.Read(p)
	t.read.Write(p[:n])
	return n, err
}

// FuzzAcceptor feeds any bytes to an accepting end. It must come to an end, and what it wrote must be whole PDUs.
func FuzzAcceptor(f *testing.F) {
	whole := talk(f)
	f.Add(whole)
	f.Add(whole[:len(whole)/2])
	f.Fuzz(func(t *testing.T, sent []byte) {
		conn := &recorded{in: bytes.NewReader(sent)}
		_, err := session(conn)
		require.Error(t, err)
		for out := conn.out.Bytes(); len(out) > 0; {
			require.GreaterOrEqual(t, len(out), 6)
			length := int(out[2])<<24 | int(out[3])<<16 | int(out[4])<<8 | int(out[5])
			require.LessOrEqual(t, length, len(out)-6)
			out = out[6+length:]
		}
	})
}
