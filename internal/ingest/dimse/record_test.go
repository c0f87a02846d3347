package dimse_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"io"
	"net"
	"os"
	"runtime"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/report/rdsr"
)

// many tells whether the counts are those of a night: AFTERBEAM_NETWORK_FAULTS=full.
func many() bool { return os.Getenv("AFTERBEAM_NETWORK_FAULTS") == "full" }

// short writes a report of few events.
func short(t testing.TB) []byte {
	t.Helper()
	r := demo.Cases()[0].Report
	r.Events = r.Events[:3]
	var b bytes.Buffer
	require.NoError(t, rdsr.Write(&b, &r, rdsr.WriteOptions{}))
	return b.Bytes()
}

// tap keeps what is written to a connection.
type tap struct {
	net.Conn
	mu      sync.Mutex
	written bytes.Buffer
}

func (c *tap) Write(p []byte) (int, error) {
	c.mu.Lock()
	c.written.Write(p)
	c.mu.Unlock()
	return c.Conn.Write(p)
}

// script is what a well-behaved sender writes, in PDUs.
type script struct{ associate, store, release []byte }

// whole gives all of it.
func (s script) whole() []byte { return bytes.Join([][]byte{s.associate, s.store, s.release}, nil) }

// record has a sender of our own send a data set to a door and keeps its bytes.
func record(t testing.TB, address string, file []byte) script {
	t.Helper()
	conn, err := net.Dial("tcp", address)
	require.NoError(t, err)
	c := &tap{Conn: conn}
	take := func() []byte {
		c.mu.Lock()
		defer c.mu.Unlock()
		taken := bytes.Clone(c.written.Bytes())
		c.written.Reset()
		return taken
	}
	var s script
	a, err := upper.Requestor{Limits: limits(), Calling: "CATH2"}.Request(context.Background(), c, "AFTERBEAM", upper.Each(doseClass, upper.ExplicitLittle))
	require.NoError(t, err)
	s.associate = take()
	set, id := dataSet(t, file)
	_, err = a.Ask(context.Background(), 1, stored(id), bytes.NewReader(set))
	require.NoError(t, err)
	s.store = take()
	require.NoError(t, a.Release())
	s.release = take()
	return s
}

// split cuts bytes into their PDUs.
func split(raw []byte) [][]byte {
	var all [][]byte
	for len(raw) >= 6 {
		n := min(len(raw), 6+int(binary.BigEndian.Uint32(raw[2:])))
		all = append(all, raw[:n])
		raw = raw[n:]
	}
	return all
}

// patienceOf a test: a loaded machine is slow, and only a fault makes it wait that long.
const patienceOf = 30 * time.Second

// answers reads all that a door says until it closes, in PDUs.
func answers(t testing.TB, conn net.Conn) [][]byte {
	t.Helper()
	require.NoError(t, conn.SetReadDeadline(time.Now().Add(patienceOf)))
	raw, err := io.ReadAll(conn)
	var timeout net.Error
	require.False(t, errors.As(err, &timeout) && timeout.Timeout(), "the door must close the connection")
	return split(raw)
}

// echoes shows that a door answers.
func echoes(t testing.TB, address string) {
	t.Helper()
	require.Eventually(t, func() bool {
		a, err := upper.Requestor{Limits: limits(), Calling: "RHYTHM3"}.Dial(context.Background(), address, "AFTERBEAM", upper.Each(upper.Verification, upper.ImplicitLittle))
		if err != nil {
			return false // no room yet
		}
		_, err = a.Ask(context.Background(), 1, upper.Command{Field: upper.CEcho, AffectedClass: upper.Verification}, nil)
		return err == nil && a.Release() == nil
	}, patienceOf, 20*time.Millisecond)
}

// settled waits until goroutines and open files are back where they were.
func settled(t testing.TB, goroutines, files int) {
	t.Helper()
	require.Eventually(t, func() bool { return runtime.NumGoroutine() <= goroutines+2 && openFiles(t) <= files+2 }, patienceOf, 10*time.Millisecond,
		"goroutines and descriptors come back to the base line")
}

func openFiles(t testing.TB) int {
	t.Helper()
	entries, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		return 0 // no such list on this system
	}
	return len(entries)
}
