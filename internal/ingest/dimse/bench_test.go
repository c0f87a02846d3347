package dimse_test

import (
	"bytes"
	"context"
	"fmt"
	"net"
	"os/exec"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"

	"afterbeam/internal/demo"
	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/peer"
	"afterbeam/internal/report/rdsr"
)

// senders is how many associations send at once, round how many objects in turn to us and to the other.
const (
	senders = 4
	round   = 64
)

// BenchmarkStore sends the same reports, as PDUs encoded beforehand, to our door with its store and to DCMTK's storescp,
// which writes files without syncing them, in turns, and gives the rates and their ratio. The goal is half of storescp's.
// What bounds us: with small reports the waits for the disk, with large ones the processor, of which the guard's walk over
// every element takes a half and compressing the object a fifth.
func BenchmarkStore(b *testing.B) {
	for name, events := range map[string]int{"small": 4, "large": 75} {
		b.Run(name, func(b *testing.B) {
			parcel := encoded(b, events)
			b.SetBytes(int64(len(parcel)))
			ours := loadTo(b, newRig(b, nil, nil).address, parcel)
			theirs := loadTo(b, storescp(b), parcel)
			b.ResetTimer()
			var spent [2]time.Duration
			for sent := 0; sent < b.N; sent += round {
				n := min(round, b.N-sent)
				for i, l := range []*loader{ours, theirs} {
					begun := time.Now()
					l.send(b, n)
					spent[i] += time.Since(begun)
				}
			}
			b.StopTimer()
			ours.close(b)
			theirs.close(b)
			b.ReportMetric(float64(b.N)/spent[0].Seconds(), "reports/s")
			b.ReportMetric(float64(b.N)/spent[1].Seconds(), "storescp/s")
			b.ReportMetric(spent[1].Seconds()/spent[0].Seconds(), "x-storescp")
		})
	}
}

// blank is an instance UID to be replaced by one of the same length.
const blank = "2.25.4000000000000001"

// encoded gives the PDUs of one C-STORE, as they go through PDUs of 16 KiB.
func encoded(b *testing.B, events int) []byte {
	b.Helper()
	var file bytes.Buffer
	for _, c := range demo.Cases() {
		if c.File == "cath2-coronary-total-occlusion.dcm" {
			r := c.Report
			r.SOPInstanceUID, r.Events = blank, r.Events[:events]
			require.NoError(b, rdsr.Write(&file, &r, rdsr.WriteOptions{}))
		}
	}
	address := newRig(b, nil, nil, func(c *dimse.Config) { c.Limits.PDU = 16 << 10 }).address
	return record(b, address, file.Bytes()).store
}

// loader sends by several associations.
type loader struct {
	calls []*upper.Association
	raw   [][]byte // one copy of the PDUs for each association
	at    [][]int  // where the instance UID stands in it
	sent  int
}

func loadTo(b *testing.B, address string, parcel []byte) *loader {
	b.Helper()
	l := &loader{}
	for range senders {
		l.calls = append(l.calls, associate(b, address))
		raw := bytes.Clone(parcel)
		l.raw = append(l.raw, raw)
		var at []int
		for from := 0; ; {
			i := bytes.Index(raw[from:], []byte(blank))
			if i < 0 {
				break
			}
			at = append(at, from+i)
			from += i + 1
		}
		require.GreaterOrEqual(b, len(at), 2, "in the command and in the data set")
		l.at = append(l.at, at)
	}
	return l
}

// send sends n objects, each an instance of its own, and waits for their answers.
func (l *loader) send(b *testing.B, n int) {
	b.Helper()
	var all errgroup.Group
	first := l.sent
	l.sent += n
	for s := range senders {
		all.Go(func() error {
			for i := s; i < n; i += senders {
				uid := fmt.Appendf(nil, "2.25.4%015d", first+i)
				for _, at := range l.at[s] {
					copy(l.raw[s][at:], uid)
				}
				if _, err := l.calls[s].Conn().Write(l.raw[s]); err != nil {
					return err
				}
				m, err := l.calls[s].Next(context.Background())
				if err != nil {
					return err
				}
				if m.Command.Status != upper.Success {
					return fmt.Errorf("status %v", m.Command.Status)
				}
			}
			return nil
		})
	}
	require.NoError(b, all.Wait())
}

func (l *loader) close(b *testing.B) {
	b.Helper()
	for _, a := range l.calls {
		require.NoError(b, a.Release())
	}
}

// storescp starts DCMTK's receiver, with a process for each association, and gives its address.
func storescp(b *testing.B) string {
	b.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(b, err)
	address := l.Addr().String()
	require.NoError(b, l.Close())
	_, port, err := net.SplitHostPort(address)
	require.NoError(b, err)
	cmd := exec.Command(peer.Need(b, "storescp"), "--fork", "+B", "-pdu", "131072", "-aet", "AFTERBEAM", "-od", b.TempDir(), port)
	require.NoError(b, cmd.Start())
	b.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	require.Eventually(b, func() bool {
		conn, err := net.Dial("tcp", address)
		return err == nil && conn.Close() == nil
	}, patienceOf, 10*time.Millisecond)
	return address
}
