package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
)

// mostMemory is the goal for the process during an import.
const mostMemory = 300e6

// BenchmarkImport runs the built program on 10,000 reports of ten events, each of a patient of its own, until all are
// estimated: as `ingest` with a folder, and as `serve` with four senders. The goal is a resident memory that never goes
// beyond 300 MB; unlike a rate it does not depend on what else the machine does, so that missing it fails.
func BenchmarkImport(b *testing.B) {
	reports := sized(10_000, 100)
	program := built(b)
	base := smallReport(b)
	b.Run("folder", func(b *testing.B) {
		folder := b.TempDir()
		for n := range reports {
			name := filepath.Join(folder, fmt.Sprint(n/100), fmt.Sprint(n)+".dcm")
			require.NoError(b, os.MkdirAll(filepath.Dir(name), 0o700))
			require.NoError(b, os.WriteFile(name, base.numbered(n), 0o600))
		}
		measureImport(b, reports, func(dir string) uint64 { return started(b, program, dir, "ingest", folder).ended(b) })
	})
	b.Run("senders", func(b *testing.B) {
		measureImport(b, reports, func(dir string) uint64 {
			token := newStore(b, dir, access.Service)
			p := started(b, program, dir, "serve")
			post(b, "http://"+p.address(b)+"/v1/reports", token, base, reports)
			p.estimated(b, dir)
			require.NoError(b, p.command.Process.Signal(syscall.SIGTERM))
			return p.ended(b)
		})
	})
}

// measureImport runs imports, each into a store of its own; they give the most memory in bytes.
func measureImport(b *testing.B, reports int, run func(dir string) uint64) {
	b.Helper()
	var most uint64
	var elapsed time.Duration
	for b.Loop() {
		dir := filepath.Join(b.TempDir(), "store")
		begun := time.Now()
		most = max(most, run(dir))
		elapsed += time.Since(begun)
		require.Equal(b, reports, cases(b, dir), "every report is a procedure")
	}
	assert.Less(b, most, uint64(mostMemory), "the most memory ever held")
	b.ReportMetric(float64(most)/1e6, "peak-MB")
	b.ReportMetric(float64(reports*b.N)/elapsed.Seconds(), "reports/s")
}

// templateOf is a report with a number of eight digits wherever one report must differ from the others.
type blank []byte

const templateNumber = "77777777"

func (t blank) numbered(n int) []byte {
	return bytes.ReplaceAll(t, []byte(templateNumber), fmt.Appendf(nil, "%08d", n))
}

func smallReport(b *testing.B) blank {
	b.Helper()
	const events = 10
	r := caseOf("cath2-coronary-total-occlusion.dcm")
	r.StudyUID, r.SOPInstanceUID, r.Patient.ID = "2.25.71"+templateNumber, "2.25.72"+templateNumber, "P-"+templateNumber
	r.ScopeUID = r.StudyUID
	r.Events = r.Events[:events]
	for i := range r.Events {
		r.Events[i].UID = fmt.Sprintf("2.25.73%s.%d", templateNumber, i+1)
	}
	r.Planes = []procedure.PlaneTotal{{Plane: r.Planes[0].Plane, SourceToReference: r.Planes[0].SourceToReference, RefPoint: r.Planes[0].RefPoint}}
	var out bytes.Buffer
	require.NoError(b, rdsr.Write(&out, &r, rdsr.WriteOptions{}))
	return out.Bytes()
}

func built(b *testing.B) string {
	b.Helper()
	name := filepath.Join(b.TempDir(), "afterbeam")
	text, err := exec.CommandContext(b.Context(), "go", "build", "-o", name, ".").CombinedOutput()
	require.NoError(b, err, string(text))
	return name
}

// running is the program under measure. What it says on standard error tells where it serves.
type running struct {
	command *exec.Cmd
	serving chan string
	said    strings.Builder
	reading sync.WaitGroup
	peak    atomic.Uint64
	failure error         // how it ended, once it is over
	over    chan struct{} // closed when it has ended
}

func started(b *testing.B, program, dir string, arguments ...string) *running {
	b.Helper()
	p := &running{command: exec.CommandContext(b.Context(), program, arguments...), serving: make(chan string, 1), over: make(chan struct{})}
	p.command.Env = []string{
		"AFTERBEAM_ZONE=UTC", "AFTERBEAM_STORE_DIR=" + dir, "AFTERBEAM_HTTP_LISTEN=127.0.0.1:0", "AFTERBEAM_METRICS_LISTEN=",
		"AFTERBEAM_HTTP_REQUESTS_PER_SECOND=1000000", "AFTERBEAM_LOG_LEVEL=info",
	}
	text, err := p.command.StderrPipe()
	require.NoError(b, err)
	require.NoError(b, p.command.Start())
	p.reading.Go(func() {
		p.listen(text)
		p.failure = p.command.Wait()
		close(p.over)
	})
	p.reading.Go(p.watch)
	return p
}

// listen reads what the program says until it ends.
func (p *running) listen(text io.Reader) {
	lines := bufio.NewScanner(text)
	for lines.Scan() {
		var entry struct{ Level, Msg, Address string }
		switch err := json.Unmarshal(lines.Bytes(), &entry); {
		case err != nil, entry.Level != "INFO":
			p.said.WriteString(lines.Text() + "\n")
		case entry.Msg == "serving":
			p.serving <- entry.Address
		}
	}
}

func (p *running) address(b *testing.B) string {
	b.Helper()
	select {
	case address := <-p.serving:
		return address
	case <-p.over:
		b.Fatal("the service ended: ", p.failure, "\n", p.said.String())
	case <-time.After(30 * time.Second):
		b.Fatal("the service does not serve")
	}
	return ""
}

// watch reads the most memory that the process ever held, of which the system keeps count until the process ends.
func (p *running) watch() {
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	for {
		text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.command.Process.Pid))
		if _, line, found := strings.Cut(string(text), "VmHWM:"); err == nil && found {
			var kB uint64
			if _, err := fmt.Sscan(line, &kB); err == nil {
				p.peak.Store(kB << 10)
			}
		}
		select {
		case <-p.over:
			return
		case <-tick.C:
		}
	}
}

// ended waits for a good end and gives the most memory in bytes.
func (p *running) ended(b *testing.B) uint64 {
	b.Helper()
	p.reading.Wait()
	require.NoError(b, p.failure, p.said.String())
	require.NotZero(b, p.peak.Load())
	return p.peak.Load()
}

// post has four senders hand in the reports.
func post(b *testing.B, address, token string, base blank, reports int) {
	b.Helper()
	client := &http.Client{}
	defer client.CloseIdleConnections()
	var next atomic.Int64
	var sending sync.WaitGroup
	for range 4 {
		sending.Go(func() {
			for n := int(next.Add(1)) - 1; n < reports; n = int(next.Add(1)) - 1 {
				if err := postOne(b.Context(), client, address, token, base.numbered(n)); err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	sending.Wait()
}

func postOne(ctx context.Context, client *http.Client, address, token string, body []byte) error {
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, address, bytes.NewReader(body))
	if err != nil {
		return err
	}
	request.Header.Set("Authorization", "Bearer "+token)
	request.Header.Set("Content-Type", "application/dicom")
	answer, err := client.Do(request)
	if err != nil {
		return err
	}
	defer func() { _ = answer.Body.Close() }() // it was read to its end
	text, err := io.ReadAll(answer.Body)
	if err == nil && answer.StatusCode != http.StatusCreated {
		err = fmt.Errorf("wanted 201, got %s: %s", answer.Status, text)
	}
	return err
}

// estimated waits until the service beside has no more to do.
func (p *running) estimated(b *testing.B, dir string) {
	b.Helper()
	db, err := store.Open(b.Context(), store.Config{Dir: dir, Program: "bench", Beside: true})
	require.NoError(b, err)
	defer func() { require.NoError(b, db.Close()) }()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		left, err := db.Backlog(b.Context())
		require.NoError(b, err)
		require.Zero(b, left.Failed)
		if left.Waiting == 0 {
			return
		}
		select {
		case <-p.over:
			b.Fatal("the service ended: ", p.failure, "\n", p.said.String())
		case <-tick.C:
		}
	}
}

func cases(b *testing.B, dir string) int {
	b.Helper()
	db, err := store.Open(b.Context(), store.Config{Dir: dir, Program: "bench"})
	require.NoError(b, err)
	defer func() { require.NoError(b, db.Close()) }()
	all, err := db.Cases(b.Context(), store.Filter{})
	require.NoError(b, err)
	return len(all)
}
