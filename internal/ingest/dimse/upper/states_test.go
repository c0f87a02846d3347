package upper_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"io"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest/dimse/upper"
)

// menu is one PDU for each choice: what a peer might say next, right or wrong.
func menu(t testing.TB, choice byte) []byte {
	command, err := upper.Command{Field: upper.CStore, MessageID: 1, HasData: true, AffectedClass: class, AffectedInstance: "2.25.1"}.MarshalBinary()
	require.NoError(t, err)
	echo, err := upper.Command{Field: upper.CEcho, MessageID: 2, AffectedClass: class}.MarshalBinary()
	require.NoError(t, err)
	pdu := func(kind byte, body []byte) []byte {
		return append(binary.BigEndian.AppendUint32([]byte{kind, 0}, uint32(len(body))), body...)
	}
	fragment := func(context, control byte, data []byte) []byte {
		return append(append(binary.BigEndian.AppendUint32(nil, uint32(len(data)+2)), context, control), data...)
	}
	switch choice % 16 {
	case 0, 1:
		return talk0
	case 2, 3:
		return pdu(4, fragment(3, 3, command))
	case 4:
		return pdu(4, fragment(3, 1, command[:20]))
	case 5:
		return pdu(4, fragment(3, 3, command[20:]))
	case 6:
		return pdu(4, fragment(3, 0, []byte("data")))
	case 7, 8:
		return pdu(4, fragment(3, 2, []byte("end.")))
	case 9:
		return pdu(4, append(fragment(3, 3, command), fragment(3, 2, []byte("both"))...))
	case 10:
		return pdu(4, fragment(3, 3, echo))
	case 11:
		return pdu(4, fragment(1, 3, echo))
	case 12:
		return pdu(5, make([]byte, 4))
	case 13:
		return pdu(6, make([]byte, 4))
	case 14:
		return pdu(7, make([]byte, 4))
	}
	return pdu(2, make([]byte, 68))
}

// talk0 is an A-ASSOCIATE-RQ for verification (context 1) and dose reports (context 3), laid out by PS3.8 9.3.2.
var talk0 = func() []byte {
	item := func(kind byte, body []byte) []byte {
		return append(binary.BigEndian.AppendUint16([]byte{kind, 0}, uint16(len(body))), body...)
	}
	body := append([]byte{0, 1, 0, 0}, "AFTERBEAM       CATH2           "...)
	body = append(body, make([]byte, 32)...)
	body = append(body, item(0x10, []byte(upper.ApplicationContext))...)
	for i, abstract := range []string{upper.Verification, class} {
		syntax := append(item(0x30, []byte(abstract)), item(0x40, []byte(upper.ImplicitLittle))...)
		body = append(body, item(0x20, append([]byte{byte(2*i + 1), 0, 0, 0}, syntax...))...)
	}
	body = append(body, item(0x50, item(0x51, []byte{0, 0, 0x40, 0}))...)
	return append(binary.BigEndian.AppendUint32([]byte{1, 0}, uint32(len(body))), body...)
}()

// FuzzStates walks the state machine: every byte is the next PDU of the peer. Whatever it says, it is told the end in one
// PDU at most, and nothing is answered that was not asked.
func FuzzStates(f *testing.F) {
	f.Add([]byte{0, 2, 7, 12})
	f.Add([]byte{0, 4, 5, 6, 7, 9, 11, 12})
	f.Add([]byte{0, 6})
	f.Add([]byte{12})
	f.Fuzz(func(t *testing.T, choices []byte) {
		var sent bytes.Buffer
		asked := 0
		for _, c := range choices[:min(len(choices), 64)] {
			sent.Write(menu(t, c))
			if c%16 >= 2 && c%16 != 12 {
				asked++
			}
		}
		conn := &recorded{in: bytes.NewReader(sent.Bytes())}
		messages, err := session(conn)
		require.Error(t, err)
		assert.LessOrEqual(t, messages, asked)
		ends := 0
		for i, kind := range kinds(conn.out.Bytes()) {
			assert.Equal(t, i == 0 && kind != 7, kind == 2, "A-ASSOCIATE-AC is the first answer and no other")
			if kind == 6 || kind == 7 {
				ends++
			}
			assert.True(t, kind == 2 || kind == 4 || kind == 6 || kind == 7)
		}
		assert.LessOrEqual(t, ends, 1)
	})
}

// kinds lists the types of the PDUs in a stream.
func kinds(out []byte) []byte {
	var all []byte
	for len(out) >= 6 {
		all = append(all, out[0])
		out = out[6+int(binary.BigEndian.Uint32(out[2:])):]
	}
	return all
}

// FuzzRequestor feeds any bytes to a requestor as the answers of its peer.
func FuzzRequestor(f *testing.F) {
	conn := &recorded{in: bytes.NewReader(append(bytes.Clone(talk0), menu(f, 10)...))}
	_, _ = session(conn)
	f.Add(conn.out.Bytes())
	f.Add([]byte{3, 0, 0, 0, 0, 4, 0, 1, 1, 3})
	f.Fuzz(func(t *testing.T, answers []byte) {
		conn := &recorded{in: bytes.NewReader(answers)}
		a, err := upper.Requestor{Limits: limits(), Calling: "CATH2"}.Request(context.Background(), conn, "AFTERBEAM",
			append(upper.Each(upper.Verification, upper.ImplicitLittle), upper.Proposal{Abstract: class, Transfer: []string{upper.ImplicitLittle}, SCP: true}))
		if err != nil {
			return
		}
		for _, c := range a.Contexts() {
			assert.Contains(t, []uint8{1, 3}, c.ID)
		}
		for err == nil {
			var m *upper.Message
			if m, err = a.Next(context.Background()); err == nil && m.Data != nil {
				_, err = io.Copy(io.Discard, m.Data)
			}
		}
	})
}
