package dimse_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math/rand/v2"
	"net"
	"runtime"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/upper"
)

// pduOf makes a PDU; fragment the body of a P-DATA-TF with one fragment.
func pduOf(kind byte, body []byte) []byte {
	return append(binary.BigEndian.AppendUint32([]byte{kind, 0}, uint32(len(body))), body...)
}

func fragment(context, control byte, data []byte) []byte {
	body := binary.BigEndian.AppendUint32(nil, uint32(len(data)+2))
	return pduOf(4, append(append(body, context, control), data...))
}

// The ways in which a door ends a connection.
const (
	silence = 0xFF // closed without a word
	rejects = 0xFE // A-ASSOCIATE-RJ
	release = 0xFD // A-RELEASE-RP
)

// TestAbuse sends what no peer should, in every state of an association.
func TestAbuse(t *testing.T) {
	r := newRig(t, nil, nil)
	good := record(t, r.address, short(t))
	stores := split(good.store)
	half := stores[1][:len(stores[1])/2&^1]
	binary.BigEndian.PutUint32(half[2:], uint32(len(half)-6))
	binary.BigEndian.PutUint32(half[6:], uint32(len(half)-10))
	half[11] &^= 2 // not the last
	command := bytes.Clone(stores[0])
	command[11] &^= 2
	states := []struct {
		name   string
		before []byte
	}{
		{"connected", nil},
		{"associated", good.associate},
		{"in a command", slices.Concat(good.associate, command)},
		{"before a data set", slices.Concat(good.associate, stores[0])},
		{"in a data set", slices.Concat(good.associate, stores[0], half)},
	}
	const invalid, unexpected, unknown = byte(upper.ReasonInvalidParameter), byte(upper.ReasonUnexpectedPDU), byte(upper.ReasonUnknownPDU)
	all := func(reason byte) []byte { return bytes.Repeat([]byte{reason}, len(states)) }
	longer := func(kind byte) []byte { return []byte{kind, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0, 0} }
	tests := map[string]struct {
		send []byte
		want []byte // in each state
	}{
		"a type that is none":               {pduOf(0x99, []byte("hello")), all(unknown)},
		"a web request":                     {[]byte("GET / HTTP/1.1\r\n\r\n"), all(unknown)},
		"4 GB of A-ASSOCIATE-RQ":            {longer(1), all(invalid)},
		"4 GB of P-DATA":                    {longer(4), all(invalid)},
		"4 GB of A-ABORT":                   {longer(7), all(invalid)},
		"A-ASSOCIATE-AC":                    {pduOf(2, make([]byte, 68)), all(unexpected)},
		"A-ASSOCIATE-RJ":                    {pduOf(3, make([]byte, 4)), all(unexpected)},
		"A-RELEASE-RP":                      {pduOf(6, make([]byte, 4)), all(unexpected)},
		"A-RELEASE-RQ":                      {pduOf(5, make([]byte, 4)), []byte{unexpected, release, unexpected, unexpected, unexpected}},
		"A-RELEASE-RQ of 2 bytes":           {pduOf(5, make([]byte, 2)), all(invalid)},
		"A-ASSOCIATE-RQ again":              {good.associate, []byte{0, unexpected, unexpected, unexpected, unexpected}},
		"A-ASSOCIATE-RQ of 10 bytes":        {pduOf(1, make([]byte, 10)), []byte{invalid, unexpected, unexpected, unexpected, unexpected}},
		"A-ASSOCIATE-RQ of zeros":           {pduOf(1, make([]byte, 68)), []byte{rejects, unexpected, unexpected, unexpected, unexpected}},
		"an item longer than the request":   {pduOf(1, append(make([]byte, 68), 0x20, 0, 0xFF, 0xFF)), []byte{invalid, unexpected, unexpected, unexpected, unexpected}},
		"P-DATA without a fragment's head":  {pduOf(4, []byte{0, 0, 0}), []byte{unexpected, invalid, invalid, invalid, invalid}},
		"a fragment of no length":           {pduOf(4, []byte{0, 0, 0, 0, 1, 3}), []byte{unexpected, invalid, invalid, invalid, invalid}},
		"a fragment longer than its PDU":    {pduOf(4, []byte{0, 0, 1, 0, 1, 3}), []byte{unexpected, invalid, invalid, invalid, invalid}},
		"a context that is not agreed":      {fragment(5, 3, make([]byte, 8)), []byte{unexpected, invalid, invalid, invalid, invalid}},
		"a data set where none was started": {fragment(1, 2, nil), []byte{unexpected, invalid, invalid, 0, 0}},
		"a command within":                  {fragment(1, 3, make([]byte, 8)), []byte{unexpected, invalid, invalid, invalid, invalid}},
		"a command of half an element":      {fragment(1, 3, make([]byte, 7)), []byte{unexpected, invalid, invalid, invalid, invalid}},
		"A-ABORT":                           {pduOf(7, make([]byte, 4)), all(silence)},
	}
	kept := len(r.receipts(t))
	goroutines, files := runtime.NumGoroutine(), openFiles(t)
	for name, tt := range tests {
		for i, state := range states {
			if tt.want[i] == 0 {
				continue // right in this state
			}
			t.Run(name+", "+state.name, func(t *testing.T) {
				conn, err := net.Dial("tcp", r.address)
				require.NoError(t, err)
				defer func() { require.NoError(t, conn.Close()) }()
				_, err = conn.Write(slices.Concat(state.before, tt.send))
				require.NoError(t, err)
				require.NoError(t, conn.(*net.TCPConn).CloseWrite()) // else the door waits a little for the end
				said := answers(t, conn)
				if state.before != nil {
					require.NotEmpty(t, said)
					assert.Equal(t, byte(2), said[0][0], "the association was accepted")
					said = said[1:]
				}
				if tt.want[i] == silence {
					assert.Empty(t, said)
					return
				}
				require.Len(t, said, 1)
				switch tt.want[i] {
				case rejects:
					assert.Equal(t, byte(3), said[0][0])
				case release:
					assert.Equal(t, byte(6), said[0][0])
				default:
					assert.Equal(t, []byte{7, 0, 0, 0, 0, 4, 0, 0, 2, tt.want[i]}, said[0])
				}
			})
		}
	}
	assert.Len(t, r.receipts(t), kept, "nothing of it was kept")
	settled(t, goroutines, files)
	echoes(t, r.address)
}

// TestSpoiledTalk changes, cuts, doubles and swaps what a good sender writes.
func TestSpoiledTalk(t *testing.T) {
	r := newRig(t, nil, nil)
	good := record(t, r.address, short(t))
	rounds := 200
	if many() {
		rounds = 3000
	}
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	goroutines, files := runtime.NumGoroutine(), openFiles(t)
	const seed = 8
	rng := rand.New(rand.NewPCG(seed, 0))
	for n := range rounds {
		sent := spoil(rng, good)
		conn, err := net.Dial("tcp", r.address)
		require.NoError(t, err)
		_, _ = conn.Write(sent) // the door may have closed before the end
		require.NoError(t, conn.(*net.TCPConn).CloseWrite())
		said := answers(t, conn)
		require.NoError(t, conn.Close())
		for _, one := range said {
			require.Contains(t, []byte{2, 3, 4, 6, 7}, one[0], "round %d of seed %d", n, seed)
			require.Len(t, one, 6+int(binary.BigEndian.Uint32(one[2:])), "round %d of seed %d", n, seed)
		}
	}
	settled(t, goroutines, files)
	runtime.GC()
	runtime.ReadMemStats(&after)
	assert.Less(t, after.HeapAlloc, before.HeapAlloc+8<<20, "what was sent leaves nothing in memory; 8 MB are for the log and the database's pages")
	echoes(t, r.address)
}

// spoil changes a talk in one to three places.
func spoil(rng *rand.Rand, good script) []byte {
	pdus := split(bytes.Clone(good.whole()))
	for range 1 + rng.IntN(3) {
		i, j := rng.IntN(len(pdus)), rng.IntN(len(pdus))
		switch rng.IntN(6) {
		case 0: // a byte of a header
			pdus[i][rng.IntN(min(12, len(pdus[i])))] = byte(rng.UintN(256))
		case 1: // a byte anywhere
			pdus[i][rng.IntN(len(pdus[i]))] ^= 1 << rng.IntN(8)
		case 2:
			pdus[i], pdus[j] = pdus[j], pdus[i]
		case 3:
			pdus = slices.Insert(pdus, i, bytes.Clone(pdus[j]))
		case 4:
			pdus[i] = pdus[i][:max(1, rng.IntN(len(pdus[i])))]
		case 5:
			if len(pdus) > 1 {
				pdus = slices.Delete(pdus, i, i+1)
			}
		}
	}
	return bytes.Join(pdus, nil)
}

// TestFlood has one peer ask for far more associations than there are places, and stay idle.
func TestFlood(t *testing.T) {
	const places = 8
	r := newRig(t, nil, nil, func(c *dimse.Config) { c.Associations, c.PerPeer = 2*places, places })
	good := record(t, r.address, short(t))
	asked := 300
	if many() {
		asked = 5000
	}
	goroutines, files := runtime.NumGoroutine(), openFiles(t)
	outcome := map[byte]int{}
	var open []net.Conn
	for range asked {
		conn, err := net.Dial("tcp", r.address)
		require.NoError(t, err)
		_, err = conn.Write(good.associate)
		require.NoError(t, err)
		head := make([]byte, 1)
		require.NoError(t, conn.SetReadDeadline(time.Now().Add(patienceOf)))
		if n, _ := conn.Read(head); n == 0 {
			head[0] = silence
		}
		outcome[head[0]]++
		if head[0] == 2 {
			open = append(open, conn)
		} else {
			require.NoError(t, conn.Close())
		}
	}
	assert.Equal(t, map[byte]int{2: places, 3: asked - places}, outcome, "what finds no place is told so")
	assert.LessOrEqual(t, runtime.NumGoroutine(), goroutines+places+waiters, "goroutines are bounded by the places")
	for _, conn := range open {
		require.NoError(t, conn.Close())
	}
	settled(t, goroutines, files)
	echoes(t, r.address)
}

// waiters is how many refused connections may still be ending.
const waiters = 64

// TestSilentConnections has many connections that never ask.
func TestSilentConnections(t *testing.T) {
	r := newRig(t, nil, nil)
	goroutines, files := runtime.NumGoroutine(), openFiles(t)
	var open []net.Conn
	for range 3 * waiters {
		conn, err := net.Dial("tcp", r.address)
		require.NoError(t, err)
		open = append(open, conn)
	}
	for _, conn := range open[waiters:] { // there is no room to wait
		require.NoError(t, conn.SetReadDeadline(time.Now().Add(patienceOf)))
		_, err := conn.Read(make([]byte, 1))
		var timeout net.Error
		require.Error(t, err)
		require.False(t, errors.As(err, &timeout) && timeout.Timeout(), "the door closes it")
	}
	assert.LessOrEqual(t, runtime.NumGoroutine(), goroutines+waiters+2)
	for _, conn := range open {
		require.NoError(t, conn.Close())
	}
	settled(t, goroutines, files)
	echoes(t, r.address)
}

// TestSlowSenders sends byte by byte, in each state.
func TestSlowSenders(t *testing.T) {
	r := newRig(t, nil, nil, func(c *dimse.Config) {
		c.Limits.ARTIM, c.Limits.Idle, c.Limits.Transfer = 300*time.Millisecond, 300*time.Millisecond, 300*time.Millisecond
	})
	good := record(t, newRig(t, nil, nil).address, short(t))
	goroutines, files := runtime.NumGoroutine(), openFiles(t)
	for name, before := range map[string][]byte{
		"the request": nil, "a command": good.associate, "a data set": slices.Concat(good.associate, split(good.store)[0]),
	} {
		t.Run(name, func(t *testing.T) {
			conn, err := net.Dial("tcp", r.address)
			require.NoError(t, err)
			_, err = conn.Write(before)
			require.NoError(t, err)
			rest := good.whole()[len(before):]
			begin := time.Now()
			for i := 0; err == nil && i < len(rest) && time.Since(begin) < patienceOf; i++ {
				_, err = conn.Write(rest[i : i+1])
				time.Sleep(10 * time.Millisecond)
			}
			assert.Less(t, time.Since(begin), patienceOf, "the door gave up")
			require.NoError(t, conn.Close())
		})
	}
	settled(t, goroutines, files)
	assert.Empty(t, r.receipts(t), "nothing partial is kept")
	echoes(t, r.address)
}
