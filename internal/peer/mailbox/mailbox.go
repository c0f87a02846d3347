// Package mailbox is a mail server in the test's own process that does what it is told: take mail, refuse it, be busy or slow,
// take it and lose the answer, or be away. Tests alone use it.
package mailbox

import (
	"bufio"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"net/textproto"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Mood is how the server behaves.
type Mood string

// The moods.
const (
	Takes   Mood = "takes"
	Refuses Mood = "refuses"      // 550 to every recipient
	Rejects Mood = "rejects"      // 554 after the message
	Busy    Mood = "busy"         // 451 to every recipient
	Slow    Mood = "slow"         // greets and says nothing more
	Half    Mood = "half accepts" // takes the message and goes away without saying so
	Away    Mood = "away"         // closes every connection at once
	Plain   Mood = "never encrypts"
)

// Mail is what the server took.
type Mail struct {
	To        string
	Text      string // headers and body as they came
	Encrypted bool
}

// Server is a mail server on loopback.
type Server struct {
	Address string
	// Authority is the file of the authority of its certificate.
	Authority string

	t        testing.TB
	listener net.Listener
	tls      *tls.Config
	mu       sync.Mutex
	mood     Mood
	mails    []Mail
	calls    int
	open     map[net.Conn]bool
}

// New starts a server that takes mail; it ends with the test.
func New(t testing.TB) *Server {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	s := &Server{Address: l.Addr().String(), t: t, listener: l, mood: Takes, open: map[net.Conn]bool{}}
	s.certify()
	var running sync.WaitGroup
	running.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			running.Go(func() { s.serve(c) })
		}
	})
	t.Cleanup(func() {
		require.NoError(t, l.Close())
		s.mu.Lock()
		for c := range s.open {
			_ = c.Close() // ends a conversation that is slow on purpose
		}
		s.mu.Unlock()
		running.Wait()
	})
	return s
}

// Becomes changes the mood.
func (s *Server) Becomes(m Mood) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.mood = m
}

// Mails gives what was taken so far.
func (s *Server) Mails() []Mail {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]Mail(nil), s.mails...)
}

// Calls counts the connections so far.
func (s *Server) Calls() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.calls
}

func (s *Server) feels() Mood {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.mood
}

// certify makes a certificate for loopback.
func (s *Server) certify() {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(s.t, err)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "mailbox of a test"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(24 * time.Hour), IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	require.NoError(s.t, err)
	s.tls = &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}, MinVersion: tls.VersionTLS12}
	s.Authority = filepath.Join(s.t.TempDir(), "authority.pem")
	require.NoError(s.t, os.WriteFile(s.Authority, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600))
}

// talk is one conversation.
type talk struct {
	net.Conn
	*textproto.Reader
	encrypted bool
	to        string
}

func (t *talk) say(line string) { _, _ = t.Write([]byte(line + "\r\n")) } // a client that went away is seen at the next read

func (s *Server) serve(c net.Conn) {
	s.mu.Lock()
	s.calls++
	s.open[c] = true
	s.mu.Unlock()
	defer func() {
		_ = c.Close()
		s.mu.Lock()
		delete(s.open, c)
		s.mu.Unlock()
	}()
	if s.feels() == Away {
		return
	}
	t := &talk{Conn: c, Reader: textproto.NewReader(bufio.NewReader(c))}
	t.say("220 mailbox of a test")
	for {
		line, err := t.ReadLine()
		if err != nil || !s.answer(t, line) {
			return
		}
	}
}

// answer takes one command and tells whether the conversation goes on.
func (s *Server) answer(t *talk, line string) bool {
	word, rest, _ := strings.Cut(line, " ")
	mood := s.feels()
	switch strings.ToUpper(word) {
	case "EHLO":
		if mood == Slow {
			_, _ = t.ReadLine() // until the client gives up
			return false
		}
		if t.encrypted || mood == Plain {
			t.say("250 mailbox")
		} else {
			t.say("250-mailbox\r\n250 STARTTLS")
		}
	case "STARTTLS":
		t.say("220 go on")
		secure := tls.Server(t.Conn, s.tls)
		if secure.Handshake() != nil {
			return false
		}
		*t = talk{Conn: secure, Reader: textproto.NewReader(bufio.NewReader(secure)), encrypted: true}
	case "RCPT":
		t.to = strings.TrimSuffix(strings.TrimPrefix(rest, "TO:<"), ">")
		said, is := map[Mood]string{Refuses: "550 5.1.1 <" + t.to + "> is nobody here", Busy: "451 later"}[mood]
		if !is {
			said = "250 ok"
		}
		t.say(said)
	case "DATA":
		return s.data(t, mood)
	case "QUIT":
		t.say("221 bye")
		return false
	default: // HELO, MAIL, NOOP, RSET
		t.say("250 ok")
	}
	return true
}

func (s *Server) data(t *talk, mood Mood) bool {
	t.say("354 go on")
	body, err := t.ReadDotBytes()
	if err != nil {
		return false
	}
	if mood == Rejects {
		t.say("554 not this one")
		return true
	}
	s.mu.Lock()
	s.mails = append(s.mails, Mail{To: t.to, Text: string(body), Encrypted: t.encrypted})
	s.mu.Unlock()
	if mood == Half {
		return false
	}
	t.say("250 taken")
	return true
}
