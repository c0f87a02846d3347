package dimse_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"net"
	"runtime"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/upper"
)

// trouble is what a network does from a byte of the sender's stream on.
type trouble struct {
	name string
	// loses tells that the message cannot get through.
	loses bool
	// pass forwards what the sender writes from the byte on; it returns when nothing more is to be forwarded.
	pass func(sender, door net.Conn, rng *rand.Rand)
}

func troubles() []trouble {
	forward := func(pause func(rng *rand.Rand) time.Duration, most int) func(sender, door net.Conn, rng *rand.Rand) {
		return func(sender, door net.Conn, rng *rand.Rand) {
			piece := make([]byte, most)
			for {
				n, err := sender.Read(piece)
				if n > 0 {
					time.Sleep(pause(rng))
					if _, e := door.Write(piece[:n]); e != nil {
						return
					}
				}
				if err != nil {
					_ = door.(*net.TCPConn).CloseWrite()
					return
				}
			}
		}
	}
	hold := func(sender net.Conn) { // until the sender gives up
		_, _ = sender.Read(make([]byte, 1<<20))
		for {
			if _, err := sender.Read(make([]byte, 1<<16)); err != nil {
				return
			}
		}
	}
	return []trouble{
		{"reset", true, func(_, door net.Conn, _ *rand.Rand) { _ = door.(*net.TCPConn).SetLinger(0); _ = door.Close() }},
		{"end", true, func(_, door net.Conn, _ *rand.Rand) { _ = door.(*net.TCPConn).CloseWrite() }},
		{"black hole", true, func(sender, _ net.Conn, _ *rand.Rand) { hold(sender) }},
		{"half open", true, func(sender, door net.Conn, _ *rand.Rand) { _ = sender.Close(); hold(door) }},
		{"a byte at a time", true, forward(func(*rand.Rand) time.Duration { return 20 * time.Millisecond }, 1)},
		{"jitter", false, forward(func(rng *rand.Rand) time.Duration { return time.Duration(rng.IntN(5)) * time.Millisecond }, 1460)},
		{"late segments", false, forward(func(rng *rand.Rand) time.Duration { return time.Duration(rng.IntN(2)) * 30 * time.Millisecond }, 8<<10)},
		{"a narrow line", false, forward(func(*rand.Rand) time.Duration { return 2 * time.Millisecond }, 1<<10)},
	}
}

// proxy forwards one connection to a door, with trouble from a byte on, and ends when both sides have.
func proxy(t *testing.T, address string, at int64, what trouble, rng *rand.Rand) (string, func()) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	var running sync.WaitGroup
	running.Go(func() {
		sender, err := l.Accept()
		_ = l.Close()
		if err != nil {
			return
		}
		door, err := net.Dial("tcp", address)
		if err != nil {
			_ = sender.Close()
			return
		}
		var back sync.WaitGroup
		back.Go(func() {
			piece := make([]byte, 4<<10)
			for {
				n, err := door.Read(piece)
				if n > 0 {
					_, _ = sender.Write(piece[:n])
				}
				if err != nil {
					_ = sender.Close()
					return
				}
			}
		})
		if passed := forwardN(door, sender, at); passed {
			what.pass(sender, door, rng)
		}
		if what.loses {
			_ = sender.Close()
		}
		back.Wait() // the door closes, by itself or by its timers
		_ = door.Close()
		_ = sender.Close()
	})
	return l.Addr().String(), running.Wait
}

// forwardN forwards the first n bytes and tells whether so many came.
func forwardN(to, from net.Conn, n int64) bool {
	piece := make([]byte, 4<<10)
	for n > 0 {
		got, err := from.Read(piece[:min(int64(len(piece)), n)])
		if got > 0 {
			if _, e := to.Write(piece[:got]); e != nil {
				return false
			}
		}
		if n -= int64(got); err != nil {
			return false
		}
	}
	return true
}

// TestCuts cuts, stalls and slows a C-STORE at bytes all over its way. Whatever happens, the door keeps the object whole or
// not at all, keeps it when it said so, and another peer notices nothing.
func TestCuts(t *testing.T) {
	offsets, repeats := 5, 1
	if many() {
		offsets, repeats = 40, 8
	}
	file := short(t)
	sum := sha256.Sum256(file)
	length := int64(len(record(t, newRig(t, nil, nil).address, file).whole()))
	for _, what := range troubles() {
		t.Run(what.name, func(t *testing.T) {
			quick := 400 * time.Millisecond
			if !what.loses {
				quick = patienceOf
			}
			r := newRig(t, nil, nil, func(c *dimse.Config) { c.Limits.Idle, c.Limits.Transfer, c.Limits.ARTIM = quick, quick, quick })
			set, id := dataSet(t, file)
			goroutines, files := runtime.NumGoroutine(), openFiles(t)
			said := false
			var all sync.WaitGroup
			var mu sync.Mutex
			for n := range offsets * repeats {
				at := length * int64(n/repeats) / int64(offsets)
				through, wait := proxy(t, r.address, at, what, rand.New(rand.NewPCG(7, uint64(n))))
				all.Go(func() {
					defer wait()
					status, err := sendOnce(through, stored(id), set)
					mu.Lock()
					defer mu.Unlock()
					said = said || err == nil && status == upper.Success
					if !what.loses {
						assert.NoError(t, err, "byte %d", at)
					}
				})
				if n%8 == 7 {
					all.Wait()
				}
			}
			echoes(t, r.address)
			all.Wait()
			settled(t, goroutines, files)
			receipts := r.receipts(t)
			require.LessOrEqual(t, len(receipts), 1)
			if said {
				require.Len(t, receipts, 1, "what was acknowledged is there")
			}
			for _, one := range receipts {
				assert.Equal(t, hex.EncodeToString(sum[:]), one.Digest, "whole")
			}
		})
	}
}

// sendOnce sends a data set and gives the status of the answer.
func sendOnce(address string, c upper.Command, set []byte) (upper.Status, error) {
	patient := limits()
	patient.ARTIM, patient.Idle, patient.Transfer = patienceOf, patienceOf, patienceOf
	a, err := upper.Requestor{Limits: patient, Calling: "CATH2"}.Dial(context.Background(), address, "AFTERBEAM", upper.Each(doseClass, upper.ExplicitLittle))
	if err != nil {
		return 0, fmt.Errorf("associate: %w", err)
	}
	m, err := a.Ask(context.Background(), 1, c, bytes.NewReader(set))
	if err != nil {
		return 0, err
	}
	status := m.Command.Status
	_ = a.Release() // the cut may lie behind the answer
	return status, nil
}
