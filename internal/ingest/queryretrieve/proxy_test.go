package queryretrieve_test

import (
	"bytes"
	"encoding/binary"
	"io"
	"net"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// trouble is what befalls a request of which the identifier holds a text.
type trouble string

const (
	cutBefore  trouble = "cut before the request arrives"
	cutAndShut trouble = "cut before the request arrives, and the next association refused"
	cutWithin  trouble = "cut within the object"
	cutAfter   trouble = "cut when the object was acknowledged"
)

// proxy stands before an archive and makes each trouble once.
type proxy struct {
	archive string

	mu       sync.Mutex
	troubles map[string]trouble
	shut     bool // the next association is refused
}

// Types of PDU, and the part of a PDV's control byte that tells a command from a data set (PS3.8 9.3, annex E.2).
const (
	pduData   = 4
	isCommand = 1
)

// before puts a proxy before an archive and gives its address.
func before(t *testing.T, archive string, troubles map[string]trouble) string {
	t.Helper()
	p := &proxy{archive: archive, troubles: troubles}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	var running sync.WaitGroup
	running.Go(func() {
		for {
			near, err := l.Accept()
			if err != nil {
				return
			}
			running.Go(func() { p.pass(near) })
		}
	})
	t.Cleanup(func() {
		_ = l.Close()
		running.Wait()
	})
	return l.Addr().String()
}

// pass forwards one connection, PDU by PDU, until either end or a trouble ends it.
func (p *proxy) pass(near net.Conn) {
	defer func() { _ = near.Close() }()
	p.mu.Lock()
	shut := p.shut
	p.shut = false
	p.mu.Unlock()
	if shut {
		if _, err := readPDU(near); err == nil {
			_, _ = near.Write([]byte{3, 0, 0, 0, 0, 4, 0, 2, 3, 1}) // A-ASSOCIATE-RJ, transient, temporary congestion
		}
		return
	}
	far, err := net.Dial("tcp", p.archive)
	if err != nil {
		return
	}
	c := &passing{near: near, far: far}
	var back sync.WaitGroup
	back.Go(func() {
		defer c.cut()
		for {
			pdu, err := readPDU(far)
			if err != nil || !c.answer(pdu) {
				return
			}
		}
	})
	for {
		pdu, err := readPDU(near)
		if err != nil || !c.ask(p, pdu) {
			break
		}
	}
	c.cut()
	back.Wait()
}

// passing is one connection through the proxy.
type passing struct {
	near, far net.Conn
	mu        sync.Mutex
	what      trouble
}

func (c *passing) cut() {
	_ = c.near.Close()
	_ = c.far.Close()
}

func (c *passing) set(what trouble) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.what = what
}

func (c *passing) is(what trouble) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.what == what
}

// ask forwards a PDU to the archive, unless a trouble is due.
func (c *passing) ask(p *proxy, pdu []byte) bool {
	if pdu[0] == pduData && lastFragment(pdu)&isCommand == 0 {
		what := p.due(pdu)
		c.set(what)
		if what == cutBefore || what == cutAndShut {
			return false
		}
	}
	_, err := c.far.Write(pdu)
	return err == nil
}

// answer forwards a PDU of the archive, unless a trouble is due.
func (c *passing) answer(pdu []byte) bool {
	data := pdu[0] == pduData && lastFragment(pdu)&isCommand == 0
	switch {
	case data && c.is(cutWithin):
		_, _ = c.near.Write(pdu[:len(pdu)/2])
		return false
	case data && c.is(cutAfter):
		c.set("cut now")
	case c.is("cut now"):
		return false // the object was acknowledged, else the archive would say nothing more
	}
	_, err := c.near.Write(pdu)
	return err == nil
}

// due takes the trouble of a request from the list.
func (p *proxy) due(pdu []byte) trouble {
	p.mu.Lock()
	defer p.mu.Unlock()
	for text, what := range p.troubles {
		if bytes.Contains(pdu, []byte(text)) {
			delete(p.troubles, text)
			p.shut = p.shut || what == cutAndShut
			return what
		}
	}
	return ""
}

func readPDU(from io.Reader) ([]byte, error) {
	header := make([]byte, 6)
	if _, err := io.ReadFull(from, header); err != nil {
		return nil, err
	}
	pdu := append(header, make([]byte, binary.BigEndian.Uint32(header[2:]))...)
	_, err := io.ReadFull(from, pdu[6:])
	return pdu, err
}

// lastFragment gives the control byte of the last fragment in a P-DATA-TF.
func lastFragment(pdu []byte) (control byte) {
	for rest := pdu[6:]; len(rest) >= 6; rest = rest[4+binary.BigEndian.Uint32(rest):] {
		control = rest[5]
	}
	return control
}
