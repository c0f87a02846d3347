package dicomweb_test

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/ingest"
	"afterbeam/internal/peer"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// failing is a keeper whose storage takes nothing after so many objects.
type failing struct {
	httpapi.Keeper
	good, tried *int
}

func (f failing) KeepIf(ctx context.Context, a store.Actor, door string, body io.Reader, fits func(dicomio.Identity) error) (store.Receipt, ingest.Answer, error) {
	*f.tried++
	if *f.good == 0 {
		return store.Receipt{}, 0, fmt.Errorf("%w: disk full", store.ErrUnavailable)
	}
	*f.good--
	return f.Keeper.KeepIf(ctx, a, door, body, fits)
}

func TestStorageThatTakesNothing(t *testing.T) {
	good, tried := 0, 0
	s := newSite(t, func(k httpapi.Keeper) httpapi.Keeper { return failing{k, &good, &tried} })
	objects := func(n int) string {
		var all [][]byte
		for i := range n {
			all = append(all, file("2.25.1", doseReport, fmt.Sprintf("2.25.1.%d", i), 0))
		}
		return message(all...)
	}
	r := request{body: objects(3), keys: []string{others, failed}, reasons: map[string][]int{others: {noResources}, failed: {noResources, noResources}}}
	status, header, body := s.send(t, r)
	assert.Equal(t, 503, status)
	assert.Equal(t, "5", header.Get("Retry-After"))
	checkAnswer(t, r, header, body)
	assert.Equal(t, 1, tried, "the storage is asked once")

	good = 2
	r = request{body: objects(4), keys: []string{retrieveURL, referenced, others, failed}, reasons: map[string][]int{referenced: {kept, kept}, others: {noResources}, failed: {noResources}}}
	status, header, body = s.send(t, r)
	assert.Equal(t, 202, status)
	assert.Empty(t, header.Get("Retry-After"))
	checkAnswer(t, r, header, body)
}

// TestMemoryIsBoundedByOnePart uploads far more than may be in memory and watches the heap while it runs.
func TestMemoryIsBoundedByOnePart(t *testing.T) {
	const parts, size = 200, 512 << 10
	s := newSite(t, nil)
	body, to := io.Pipe()
	seen := make(chan uint64, 1)
	go func() {
		peak := uint64(0)
		content := file("2.25.1", doseReport, "2.25.1.1000", size)
		last := len(content)
		for i := range parts {
			// A UID of its own, in file meta and data set, without making the object anew.
			copied := strings.ReplaceAll(string(content[:700]), "2.25.1.1000", fmt.Sprintf("2.25.1.%d", 1000+i))
			_, _ = io.WriteString(to, "--edge\r\nContent-Type: application/dicom\r\n\r\n"+copied)
			_, _ = to.Write(content[700:last])
			_, _ = io.WriteString(to, "\r\n")
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			peak = max(peak, m.HeapAlloc)
		}
		_, _ = io.WriteString(to, lastEdge)
		seen <- peak
		_ = to.Close()
	}()
	runtime.GC()
	var before runtime.MemStats
	runtime.ReadMemStats(&before)
	request, err := http.NewRequestWithContext(t.Context(), http.MethodPost, "http://"+s.address+"/dicomweb/studies", body)
	require.NoError(t, err)
	request.Header.Set("Authorization", "Bearer "+s.tokens[access.Service])
	request.Header.Set("Content-Type", `multipart/related; type="application/dicom"; boundary=edge`)
	client := http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	answer, err := client.Do(request)
	require.NoError(t, err)
	text, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	require.Equal(t, 200, answer.StatusCode, string(text))
	assert.Equal(t, parts, strings.Count(string(text), `"00081155"`))
	peak := <-seen
	// 100 MiB went through. One part is copied a few times on its way (buffer, its growth, compression), and the collector
	// waits until the heap has doubled.
	assert.Less(t, int64(peak)-int64(before.HeapAlloc), int64(32<<20))
	t.Logf("heap at rest %d KiB, at most %d KiB", before.HeapAlloc>>10, peak>>10)
}

// TestCutUploads cuts connections in the middle of a part at many places, politely and not: nothing partial is left, and
// nothing keeps running.
func TestCutUploads(t *testing.T) {
	s := newSite(t, nil)
	whole := message(file("2.25.1", doseReport, "2.25.1.1", 64<<10))
	atRest := runtime.NumGoroutine()
	for i := range 40 {
		connection, err := (&net.Dialer{}).DialContext(t.Context(), "tcp", s.address)
		require.NoError(t, err)
		_, err = fmt.Fprintf(connection, "POST /dicomweb/studies HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\n"+
			"Content-Type: multipart/related; type=\"application/dicom\"; boundary=edge\r\nContent-Length: %d\r\n\r\n%s",
			s.tokens[access.Service], len(whole), whole[:(len(whole)-30)*i/40])
		require.NoError(t, err)
		if i%2 == 0 { // a reset instead of an end
			require.NoError(t, connection.(*net.TCPConn).SetLinger(0))
		} else {
			require.NoError(t, connection.(*net.TCPConn).CloseWrite())
			answer, err := http.ReadResponse(bufio.NewReader(connection), nil)
			if err == nil {
				// 503 where the server saw the end of the connection before that of the body.
				assert.Contains(t, []int{400, 503}, answer.StatusCode)
				require.NoError(t, answer.Body.Close())
			}
		}
		require.NoError(t, connection.Close())
	}
	assert.Eventually(t, func() bool { return runtime.NumGoroutine() <= atRest+2 }, time.Minute, 20*time.Millisecond, "goroutines at rest: %d", atRest)
	all, err := s.db.Instances(t.Context(), store.InstanceFilter{})
	require.NoError(t, err)
	assert.Empty(t, all)
	var left []string
	require.NoError(t, filepath.WalkDir(s.dir, func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() && strings.Contains(path, "arrivals") {
			left = append(left, path)
		}
		return err
	}))
	assert.Empty(t, left)
}

// equalToTheFile reads a file, the file that was retrieved and its metadata by pydicom and says in what they differ. The
// character set is left out: JSON is UTF-8 and says so.
const equalToTheFile = `
import json, sys, pydicom
sent, got, meta = sys.argv[1:]
a, b = pydicom.dcmread(sent), pydicom.dcmread(got)
assert a == b, "retrieved file differs"
model = json.load(open(meta))
assert len(model) == 1
j = pydicom.Dataset.from_json(model[0])
def same(x, y, where):
    tags = [t for t in x.keys() if t != 0x00080005]
    assert tags == [t for t in y.keys() if t != 0x00080005], where
    for t in tags:
        e, f = x[t], y[t]
        assert e.VR == f.VR, (where, t)
        if e.VR == "SQ":
            assert len(e.value) == len(f.value), (where, t)
            for m, n in zip(e.value, f.value):
                same(m, n, where + [t])
        else:
            assert e.value == f.value or (not e.value and not f.value), (where, t, e.VR)
same(a, j, [])
print(len(a))
`

// TestAnotherReaderSeesTheSame stores reports of the demonstration, and compares what comes back by pydicom.
func TestAnotherReaderSeesTheSame(t *testing.T) {
	python := peer.Need(t, "/usr/bin/python3")
	s := newSite(t, nil)
	physicist := "Authorization: Bearer " + s.tokens[access.Physicist]
	for _, name := range []string{"cath2-coronary-angiography.dcm", "mobile-rhythm-device.dcm"} {
		content, report := scene(t, name)
		status, _, body := s.send(t, request{body: message(content)})
		require.Equal(t, 200, status, string(body))
		path := "/dicomweb/studies/" + report.StudyUID + "/series/" + report.SeriesUID + "/instances/" + report.SOPInstanceUID
		assert.Contains(t, string(body), path)
		status, _, got := s.curl(t, path, "-H", physicist, "-H", "Accept: application/dicom")
		require.Equal(t, 200, status)
		assert.Equal(t, content, got)
		status, _, meta := s.curl(t, path+"/metadata", "-H", physicist)
		require.Equal(t, 200, status)
		dir := t.TempDir()
		files := []string{filepath.Join(dir, "sent"), filepath.Join(dir, "got"), filepath.Join(dir, "meta")}
		for i, content := range [][]byte{content, got, meta} {
			require.NoError(t, os.WriteFile(files[i], content, 0o600))
		}
		out, err := exec.Command(python, append([]string{"-c", equalToTheFile}, files...)...).CombinedOutput()
		require.NoError(t, err, string(out))
	}
}
