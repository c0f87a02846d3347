package crashtest_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/crashpoint"
	"afterbeam/internal/ingest/dimse/commitment"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/peer"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
)

// deleter is equipment that deletes what the service has committed to. It takes the answers on associations that the service
// opens, and gathers them by the UID of the question; its end of the network is package upper, as the service's is.
type deleter struct {
	listener net.Listener
	mu       sync.Mutex
	told     map[string][]string // transaction UID to the committed objects and what was not, of each answer
}

func newDeleter(t *testing.T) *deleter {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	d := &deleter{listener: l, told: map[string][]string{}}
	var running sync.WaitGroup
	running.Go(func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			running.Go(func() { d.listen(conn) })
		}
	})
	t.Cleanup(func() {
		assert.NoError(t, l.Close())
		running.Wait()
	})
	return d
}

func (d *deleter) listen(conn net.Conn) {
	offer := func(abstract string) (upper.Offer, bool) {
		return upper.Offer{Transfer: []string{upper.ExplicitLittle}, SCU: true}, abstract == commitment.SOPClass
	}
	a, err := upper.Acceptor{Limits: upper.DefaultLimits(), Offers: offer}.Accept(context.Background(), conn)
	for err == nil { // until the service lets go of it, or is killed
		var m *upper.Message
		if m, err = a.Next(context.Background()); err == nil {
			err = d.take(a, m)
		}
	}
}

func (d *deleter) take(a *upper.Association, m *upper.Message) error {
	body, err := io.ReadAll(m.Data)
	if err != nil {
		return err
	}
	front, err := dicomio.Front(commitment.SOPClass, "2.25.1", m.Context.Transfer)
	if err != nil {
		return err
	}
	file, err := dicomio.Read(append(front, body...), dicomio.DefaultLimits())
	if err != nil {
		return err
	}
	said := fmt.Sprintf("event %d", m.Command.Event.Or(0))
	for _, item := range file.Data.Items(0x00081199) {
		said += ", kept " + item.Text(0x00081155)
	}
	for _, item := range file.Data.Items(0x00081198) {
		said += ", not kept " + item.Text(0x00081155) + " for " + item.Text(0x00081197)
	}
	d.mu.Lock()
	transaction := file.Data.Text(0x00081195)
	d.told[transaction] = append(d.told[transaction], said)
	d.mu.Unlock()
	return a.Send(m.Context.ID, m.Command.Respond(upper.Success), nil)
}

func (d *deleter) heard(transaction string) []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return append([]string{}, d.told[transaction]...)
}

// askCommitment asks about objects and tells whether the service took the question.
func askCommitment(address, transaction string, instances []string) (bool, error) {
	a, err := upper.Requestor{Limits: upper.DefaultLimits(), Calling: "CRASHTEST"}.Dial(context.Background(), address, "AFTERBEAM", upper.Each(commitment.SOPClass, upper.ExplicitLittle))
	if err != nil {
		return false, err
	}
	defer a.Abort()
	var items []dicomio.DataSet
	for _, one := range instances {
		items = append(items, dicomio.DataSet{{Tag: 0x00081150, VR: "UI", Values: []string{doseClass}}, {Tag: 0x00081155, VR: "UI", Values: []string{one}}})
	}
	body, err := dicomio.Encode(dicomio.DataSet{{Tag: 0x00081195, VR: "UI", Values: []string{transaction}}, {Tag: 0x00081199, VR: "SQ", Items: items}}, upper.ExplicitLittle)
	if err != nil {
		return false, err
	}
	m, err := a.Ask(context.Background(), a.Contexts()[0].ID, upper.Command{
		Field: upper.NAction, RequestedClass: commitment.SOPClass, RequestedInstance: "1.2.840.10008.1.20.1.1", Action: quantity.Some[uint16](1),
	}, bytes.NewReader(body))
	if err != nil {
		return false, err
	}
	return m.Command.Status == upper.Success, nil
}

// TestKilledWhileCommitting kills the service between a question and its answer: before the question is answered, before the
// report is sent, and when the peer has it and the store does not know. After the next start the peer has its report, once
// or, in the last case, twice with the same content; it names as kept what is kept and nothing else.
func TestKilledWhileCommitting(t *testing.T) {
	peer.Need(t, "sqlite3")
	s := newSite(t)
	d := newDeleter(t)
	file := filepath.Join(s.dir, "afterbeam.toml")
	require.NoError(t, os.WriteFile(file, fmt.Appendf(nil, "[[dicom.callers]]\ntitle = \"CRASHTEST\"\nreport_to = %q\n", d.listener.Addr()), 0o600))
	s.options = []string{"--config", file}
	var one parcel
	for w := newWorld(firstSeed); one.raw == nil; {
		parcels, err := w.study()
		require.NoError(t, err)
		for _, p := range parcels {
			if p.kind == dose {
				one = p
			}
		}
	}
	id, err := dicomio.Identify(one.raw, dicomio.DefaultLimits())
	require.NoError(t, err)
	p, err := s.start()
	require.NoError(t, err)
	c, err := callDICOM(p.dicom)
	require.NoError(t, err)
	status, err := c.store(one)
	require.NoError(t, err)
	require.Equal(t, upper.Success, status)
	require.NoError(t, c.Release())
	require.NoError(t, p.stop())

	for i, step := range crashpoint.CommitmentSteps() {
		transaction, other := fmt.Sprintf("2.25.%d", 100+i), fmt.Sprintf("2.25.404%d", i)
		p, err := s.start(fmt.Sprintf("CRASH_AT=%s:1", step))
		require.NoError(t, err, step)
		taken, err := askCommitment(p.dicom, transaction, []string{id.SOPInstanceUID, other})
		if step == crashpoint.CommitmentAsked {
			require.Error(t, err, "killed before it answers")
		} else {
			require.NoError(t, err, step)
			require.True(t, taken, step)
		}
		select {
		case <-p.dead:
		case <-time.After(unreached):
			require.FailNow(t, "not reached", "%s:\n%s", step, p.err.String())
		}
		require.True(t, p.killed(), step)
		before := len(d.heard(transaction))
		if step == crashpoint.CommitmentTold {
			assert.Equal(t, 1, before, step)
		} else {
			assert.Zero(t, before, step)
		}
		p, err = s.start()
		require.NoError(t, err, step)
		require.Eventually(t, func() bool {
			var pending []struct{ N int }
			return s.query(&pending, `SELECT COUNT(*) AS n FROM commitment WHERE state = 'pending'`) == nil && pending[0].N == 0
		}, unreached, 20*time.Millisecond, step)
		assert.Len(t, d.heard(transaction), before+1, step)
		require.NoError(t, p.stop())
		for _, said := range d.heard(transaction) {
			assert.Equal(t, fmt.Sprintf("event 2, kept %s, not kept %s for 274", id.SOPInstanceUID, other), said, step) // 0112H
		}
	}
	text, err := s.command("audit", "verify")
	require.NoError(t, err, text)
}
