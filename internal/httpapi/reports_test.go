package httpapi_test

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/ingest"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
	"afterbeam/internal/store/object"
)

const image = "1.2.840.10008.5.1.4.1.1.12.1" // X-Ray Angiographic Image Storage, PS3.4 annex B.5

func (r *rig) hand(token, body string) answer {
	r.t.Helper()
	return r.ask("POST", "/v1/reports", token, body, "Content-Type", "application/dicom")
}

func TestKeepReport(t *testing.T) {
	r := newRig(t, nil)
	token, _ := r.account(access.Service, nil)
	report := doseReport("2.25.501")
	first := r.hand(token, report)
	require.Equal(t, 201, first.status, string(first.body))
	var kept, again, quarantined httpapi.Receipt
	first.into(t, &kept)
	assert.Equal(t, "/v1/receipts/"+kept.Id, first.header.Get("Location"))
	assert.Equal(t, []any{"kept", "2.25.501", "2.25.1002", int64(len(report)), "http"},
		[]any{string(kept.State), kept.SopInstanceUid, kept.StudyUid, kept.SizeBytes, kept.Door})
	second := r.hand(token, report)
	assert.Equal(t, 200, second.status)
	second.into(t, &again)
	assert.Equal(t, kept, again, "the same bytes have the same receipt")
	third := r.hand(token, written("2.25.502", image))
	assert.Equal(t, 202, third.status)
	third.into(t, &quarantined)
	assert.Equal(t, httpapi.ReceiptState("quarantined"), quarantined.State)
	assert.NotEmpty(t, quarantined.Reason)
	assert.Equal(t, 202, r.hand(token, report[:len(report)-10]).status, "a cut report that tells its UIDs is kept for a person")

	for name, tt := range map[string]struct {
		body   string
		kind   string
		status int
	}{
		"no DICOM":        {"%PDF-1.7 " + plantedName, "application/dicom", 400},
		"nothing":         {"", "application/dicom", 400},
		"another type":    {report, "application/octet-stream", 415},
		"no type":         {report, "", 415},
		"JSON":            {`{}`, "application/json", 415},
		"a broken type":   {report, "application/dicom;;;", 415},
		"a form":          {"a=b", "application/x-www-form-urlencoded", 415},
		"type parameters": {doseReport("2.25.503"), "Application/DICOM; transfer-syntax=*", 201},
	} {
		assert.Equal(t, tt.status, r.ask("POST", "/v1/reports", token, tt.body, "Content-Type", tt.kind).status, name)
	}
	assert.Equal(t, 415, r.ask("POST", "/v1/reports", token, report, "Content-Type", "application/dicom", "Content-Encoding", "gzip").status)
	assert.Equal(t, 200, r.ask("GET", "/v1/receipts/"+kept.Id, token, "").status)
	assert.Equal(t, 404, r.ask("GET", "/v1/receipts/aaaaaaaaaaaaaaaaaaaaaaaa", token, "").status)
	assert.Equal(t, 400, r.ask("GET", "/v1/receipts/1", token, "").status)
	scrape := r.scrape()
	for _, line := range []string{
		`afterbeam_http_reports_total{answer="stored"} 2`, `afterbeam_http_reports_total{answer="again"} 1`,
		`afterbeam_http_reports_total{answer="quarantined"} 2`, `afterbeam_http_reports_total{answer="refused"} 2`, `afterbeam_jobs_waiting 2`,
		`afterbeam_http_requests_total{operation="keepReport",status="415"} 6`, `afterbeam_build_info{go=`,
	} {
		assert.Contains(t, scrape, line)
	}
}

func (r *rig) scrape() string {
	recorder := httptest.NewRecorder()
	r.server.Metrics().ServeHTTP(recorder, httptest.NewRequest("GET", "/metrics", nil))
	require.Equal(r.t, 200, recorder.Code)
	for _, secret := range planted() {
		assert.NotContains(r.t, recorder.Body.String(), secret)
	}
	return recorder.Body.String()
}

func TestReportFile(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	read, report, _ := r.report(identity())
	before := r.head()
	a := r.ask("GET", "/v1/receipts/"+read.ID+"/file", token, "")
	require.Equal(t, 200, a.status)
	sum := sha256.Sum256(a.body)
	want := "sha-256=:" + base64.StdEncoding.EncodeToString(sum[:]) + ":"
	assert.Equal(t, []string{want, want, "application/dicom", `attachment; filename="` + read.ID + `.dcm"`},
		[]string{a.header.Get("Repr-Digest"), a.header.Get("Content-Digest"), a.header.Get("Content-Type"), a.header.Get("Content-Disposition")})
	raw, err := r.db.Raw(read.Digest)
	require.NoError(t, err)
	assert.Equal(t, raw, a.body)
	records, err := r.db.AuditAfter(context.Background(), before, 10)
	require.NoError(t, err)
	require.Len(t, records, 1)
	assert.Equal(t, []string{"report.download", read.ID, report.PatientID}, []string{records[0].Action, records[0].Object, records[0].Patient})
}

func TestQuarantine(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	var ids []string
	for range 3 {
		ids = append(ids, r.receipt("other object").ID)
		r.clock.Pass(time.Second)
	}
	var page httpapi.ReceiptPage
	r.ask("GET", "/v1/quarantine?limit=2", token, "").into(t, &page)
	require.NotNil(t, page.Next)
	assert.Equal(t, []string{ids[0], ids[1]}, []string{page.Receipts[0].Id, page.Receipts[1].Id}, "oldest first")
	assert.Equal(t, 204, r.ask("POST", "/v1/quarantine/"+ids[0]+"/discard", token, reason).status)
	assert.Equal(t, 409, r.ask("POST", "/v1/quarantine/"+ids[0]+"/discard", token, reason).status)
	assert.Equal(t, 202, r.ask("POST", "/v1/quarantine/"+ids[0]+"/reread", token, reason).status)
	assert.Equal(t, 404, r.ask("POST", "/v1/quarantine/aaaaaaaaaaaaaaaaaaaaaaaa/reread", token, reason).status)
	assert.Equal(t, 400, r.ask("POST", "/v1/quarantine/"+ids[1]+"/discard", token, `{"reason":""}`).status)
	assert.Equal(t, 400, r.ask("POST", "/v1/quarantine/"+ids[1]+"/discard", token, ``, "Content-Type", "application/json").status)
	r.ask("GET", "/v1/reports?state=kept", token, "").into(t, &page)
	require.Len(t, page.Receipts, 1)
	assert.Equal(t, ids[0], page.Receipts[0].Id)
}

// keeper answers every report with an error.
type keeper struct{ err error }

func (k keeper) Keep(context.Context, store.Actor, string, io.Reader) (store.Receipt, ingest.Answer, error) {
	return store.Receipt{}, 0, k.err
}

// KeepIf keeps nothing either.
func (k keeper) KeepIf(ctx context.Context, a store.Actor, door string, body io.Reader, _ func(dicomio.Identity) error) (store.Receipt, ingest.Answer, error) {
	return k.Keep(ctx, a, door, body)
}

func TestWhatWentWrongInside(t *testing.T) {
	for name, tt := range map[string]struct {
		err    error
		status int
	}{
		"storage full":      {store.ErrUnavailable, 503},
		"no kind":           {errors.New("no space left"), 503},
		"too large":         {object.ErrTooLarge, 413},
		"refused":           {ingest.ErrRefused, 400},
		"deadline":          {context.DeadlineExceeded, 503},
		"sender went":       {context.Canceled, 503},
		"database conflict": {store.ErrConflict, 409},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, nil)
			token := r.physicist()
			var err error
			r.server, err = httpapi.New(r.cfg, r.db, keeper{tt.err})
			require.NoError(t, err)
			a := r.hand(token, "x")
			assert.Equal(t, tt.status, a.status)
			if tt.status == http.StatusServiceUnavailable {
				assert.Equal(t, "5", a.header.Get("Retry-After"))
				assert.NotContains(t, string(a.body), "space")
				assert.Contains(t, r.log.String(), tt.err.Error(), "the log says what it was")
			}
		})
	}
}

func TestAFailedFsyncEndsTheProcess(t *testing.T) {
	var told error
	r := newRig(t, func(c *httpapi.Config) { c.Fatal = func(err error) { told = err } })
	token := r.physicist()
	var err error
	r.server, err = httpapi.New(r.cfg, r.db, keeper{store.ErrFatal})
	require.NoError(t, err)
	assert.Equal(t, 503, r.hand(token, "x").status)
	assert.ErrorIs(t, told, store.ErrFatal)
}

func TestReportsUnderWayAreBounded(t *testing.T) {
	r := newRig(t, func(c *httpapi.Config) { c.BodyLimit, c.BodiesAtOnce = 100, 100 })
	token := r.physicist()
	assert.Equal(t, 413, r.hand(token, strings.Repeat("x", 101)).status)
	for range 3 {
		assert.Equal(t, 400, r.hand(token, strings.Repeat("x", 100)).status, "what was refused gives its share back")
	}
	got := r.receipt("other object")
	for range 20 {
		assert.Equal(t, 200, r.ask("GET", "/v1/receipts/"+got.ID+"/file", token, "").status, "what was sent gives its share back")
	}
	r.rebuild(blind{r.db})
	for range 20 {
		assert.Equal(t, 503, r.ask("GET", "/v1/receipts/"+got.ID+"/file", token, "").status)
	}
	assert.Equal(t, 400, r.hand(token, strings.Repeat("x", 100)).status, "what failed gives its share back")

	// While one takes all of it, another waits; one that gives up waiting is told to come back.
	block := blocking{started: make(chan struct{}), end: make(chan struct{})}
	var err error
	r.server, err = httpapi.New(r.cfg, r.db, block)
	require.NoError(t, err)
	done := make(chan int)
	go func() { done <- r.hand(token, strings.Repeat("x", 100)).status }()
	<-block.started
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	request := httptest.NewRequestWithContext(ctx, "POST", "/v1/reports", strings.NewReader("x"))
	request.Header.Set("Authorization", "Bearer "+token)
	request.Header.Set("Content-Type", "application/dicom")
	assert.Equal(t, 503, r.send(request).status)
	close(block.end)
	assert.Equal(t, 400, <-done)
}

// TestOnlyTheKeeperReadsAReport holds the checks before to their word: what they read would be memory without a share.
func TestOnlyTheKeeperReadsAReport(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	for name, k := range map[string]keeper{"refused": {ingest.ErrRefused}, "unavailable": {store.ErrUnavailable}} {
		var err error
		r.server, err = httpapi.New(r.cfg, r.db, k)
		require.NoError(t, err)
		body := &counted{Reader: strings.NewReader("a report")}
		request := httptest.NewRequest("POST", "/v1/reports", body)
		request.Header.Set("Authorization", "Bearer "+token)
		request.Header.Set("Content-Type", "application/dicom")
		assert.GreaterOrEqual(t, r.send(request).status, 400, name)
		assert.Zero(t, body.reads, name)
	}
}

// counted counts how often a body is read.
type counted struct {
	io.Reader
	reads int
}

func (c *counted) Read(p []byte) (int, error) {
	c.reads++
	return c.Reader.Read(p)
}

// blocking is a keeper that waits.
type blocking struct{ started, end chan struct{} }

func (b blocking) Keep(context.Context, store.Actor, string, io.Reader) (store.Receipt, ingest.Answer, error) {
	close(b.started)
	<-b.end
	return store.Receipt{}, 0, ingest.ErrRefused
}

func (b blocking) KeepIf(ctx context.Context, a store.Actor, door string, body io.Reader, _ func(dicomio.Identity) error) (store.Receipt, ingest.Answer, error) {
	return b.Keep(ctx, a, door, body)
}
