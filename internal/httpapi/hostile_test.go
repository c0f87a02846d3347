package httpapi_test

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"afterbeam/internal/httpapi"
	"afterbeam/internal/store"
)

// listen serves the rig on a loopback port with the given time for a whole request.
func (r *rig) listen(whole time.Duration) string {
	r.t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(r.t, err)
	server := httpapi.HTTPServer(r.server.Handler(), r.cfg.Logger)
	server.ReadHeaderTimeout, server.ReadTimeout = whole, whole
	done := make(chan error, 1)
	go func() { done <- server.Serve(l) }()
	r.t.Cleanup(func() {
		require.NoError(r.t, server.Close())
		require.ErrorIs(r.t, <-done, http.ErrServerClosed)
	})
	return l.Addr().String()
}

// talk writes bytes to a connection as they are, and gives the status of the answer, 0 when the server hung up.
func talk(t *testing.T, address string, write func(net.Conn)) int {
	t.Helper()
	conn, err := net.Dial("tcp", address)
	require.NoError(t, err)
	defer func() { _ = conn.Close() }() // the server may have closed it already
	require.NoError(t, conn.SetDeadline(time.Now().Add(20*time.Second)))
	write(conn)
	answer, err := http.ReadResponse(bufio.NewReader(conn), nil)
	if err != nil {
		return 0
	}
	_, _ = io.Copy(io.Discard, answer.Body) // cut short when the server hangs up
	require.NoError(t, answer.Body.Close())
	return answer.StatusCode
}

// TestHostileConnections sends what no client means to send; afterwards memory and goroutines are where they were.
func TestHostileConnections(t *testing.T) {
	r := newRig(t, func(c *httpapi.Config) { c.BodyLimit = 1 << 20 })
	token := r.physicist()
	address := r.listen(500 * time.Millisecond)
	head := "POST /v1/reports HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer " + token + "\r\nContent-Type: application/dicom\r\n"
	say := func(text string) func(net.Conn) {
		return func(c net.Conn) { _, _ = io.WriteString(c, text) } // the server may hang up first
	}
	chunk := fmt.Sprintf("%x\r\n%s\r\n", 64<<10, strings.Repeat("x", 64<<10))
	tests := map[string]struct {
		write func(net.Conn)
		want  []int
	}{
		"says it is too large":   {say(head + "Content-Length: 99999999\r\n\r\nabc"), []int{413}},
		"too large, chunked":     {say(head + "Transfer-Encoding: chunked\r\n\r\n" + strings.Repeat(chunk, 20) + "0\r\n\r\n"), []int{413}},
		"a bad chunk":            {say(head + "Transfer-Encoding: chunked\r\n\r\nzz\r\nabc\r\n"), []int{400}},
		"stops in the middle":    {say(head + "Content-Length: 1000\r\n\r\nabc"), []int{408}},
		"stops in the header":    {say(head), []int{0, 408}},
		"stops at once":          {say(""), []int{0, 408}},
		"hangs up in the middle": {func(c net.Conn) { say(head + "Content-Length: 1000\r\n\r\nabc")(c); closeWrite(c) }, []int{0, 400}},
		"a header too large":     {say(head + "X-Long: " + strings.Repeat("x", 64<<10) + "\r\n\r\n"), []int{431}},
		"no HTTP":                {say("\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n"), []int{400}},
		"two lengths":            {say(head + "Content-Length: 3\r\nContent-Length: 4\r\n\r\nabcd"), []int{400}},
		"length and chunks":      {say(head + "Content-Length: 3\r\nTransfer-Encoding: chunked\r\n\r\n3\r\nabc\r\n0\r\n\r\n"), []int{400}},
		"a length below zero":    {say(head + "Content-Length: -3\r\n\r\nabc"), []int{400}},
		"JSON without an end":    {say(strings.Replace(head, "application/dicom", "application/json", 1) + "Content-Length: 9\r\n\r\n{\"name\": "), []int{415}},
		"an unknown method":      {say("BREW /v1/reports HTTP/1.1\r\nHost: x\r\n\r\n"), []int{405}},
		"options":                {say("OPTIONS /v1/reports HTTP/1.1\r\nHost: x\r\nOrigin: http://elsewhere.example\r\n\r\n"), []int{405}},
		"a path out of the tree": {say("GET /v1/../../etc/passwd HTTP/1.1\r\nHost: x\r\n\r\n"), []int{404}},
		"a path with a NUL":      {say("GET /v1/procedures/%00 HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer " + token + "\r\n\r\n"), []int{400}},
		"a path with a slash":    {say("GET /v1/procedures/a%2Fb HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer " + token + "\r\n\r\n"), []int{400, 404}},
	}
	r.ask("GET", "/v1/me", token, "") // what is made once is made
	for name, tt := range tests {
		assert.Contains(t, tt.want, talk(t, address, tt.write), name)
	}
	before, goroutines := heap(), runtime.NumGoroutine()
	for range 10 {
		for name, tt := range tests {
			if strings.HasPrefix(name, "stops") {
				continue // half a second each
			}
			talk(t, address, tt.write)
		}
	}
	for end := time.Now().Add(5 * time.Second); runtime.NumGoroutine() > goroutines && time.Now().Before(end); {
		time.Sleep(20 * time.Millisecond)
	}
	assert.LessOrEqual(t, runtime.NumGoroutine(), goroutines, "goroutines")
	// 10 rounds of it hold some 15 MB of bodies: a tenth of that left would be a leak.
	assert.Less(t, heap(), before+1<<20, "memory")
	assert.Equal(t, 201, r.hand(token, doseReport("2.25.901")).status, "and the door is open")
	assert.NotContains(t, r.log.String(), `"level":"ERROR"`)
}

func closeWrite(c net.Conn) { _ = c.(*net.TCPConn).CloseWrite() } // the server may have closed it already

func heap() uint64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// TestSlowSendersDoNotShutTheDoor holds the memory that reports may take with senders that never finish.
func TestSlowSendersDoNotShutTheDoor(t *testing.T) {
	r := newRig(t, func(c *httpapi.Config) { c.BodyLimit, c.BodiesAtOnce = 1<<20, 1<<20 })
	token := r.physicist()
	address := r.listen(300 * time.Millisecond)
	slow := make(chan int)
	for range 3 {
		go func() {
			slow <- talk(t, address, func(c net.Conn) {
				_, _ = fmt.Fprintf(c, "POST /v1/reports HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\nContent-Type: application/dicom\r\nContent-Length: 1000000\r\n\r\nabc", token)
			})
		}()
	}
	time.Sleep(50 * time.Millisecond)
	assert.Equal(t, 201, r.hand(token, doseReport("2.25.902")).status, "it waits its turn")
	for range 3 {
		assert.Contains(t, []int{0, 408}, <-slow)
	}
}

// fragile is a store that panics.
type fragile struct {
	*store.DB
	value any
}

func (f fragile) Case(context.Context, string) (store.Case, error) { panic(f.value) }

func TestAPanicIsAnInternalFailure(t *testing.T) {
	for name, value := range map[string]any{
		"an error": fmt.Errorf("about %s", plantedName), "text": "patient " + plantedNumber, "the runtime's": runtimeError(),
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, nil)
			token := r.physicist()
			r.rebuild(fragile{r.db, value})
			a := r.ask("GET", "/v1/procedures/aaaaaaaaaaaaaaaaaaaaaaaa", token, "")
			assert.Equal(t, 500, a.status)
			var p httpapi.Problem
			a.into(t, &p)
			assert.Nil(t, p.Detail)
			assert.NotContains(t, string(a.body), "goroutine")
			assert.Contains(t, r.log.String(), "fragile", "the log has the place")
			assert.Equal(t, 200, r.ask("GET", "/v1/me", token, "").status, "the process lives")
		})
	}
}

func runtimeError() (value any) {
	defer func() { value = recover() }()
	var none []int
	return none[len(none)]
}

func TestUnknownPathsAndMethods(t *testing.T) {
	r := newRig(t, nil)
	assert.Equal(t, 404, r.ask("GET", "/v2/"+plantedNumber, "", "").status)
	assert.Equal(t, 404, r.ask("GET", "/", "", "").status)
	a := r.ask("PATCH", "/v1/procedures", "", "")
	assert.Equal(t, 405, a.status)
	assert.Equal(t, "GET", a.header.Get("Allow"))
	for _, method := range []string{"DELETE", "PUT", "OPTIONS", "TRACE", "HEAD"} {
		a := r.ask(method, "/v1/procedures/aaaaaaaaaaaaaaaaaaaaaaaa/facts", "", "")
		assert.Equal(t, 405, a.status, method)
		assert.Equal(t, "GET, PATCH", a.header.Get("Allow"), method)
	}
	assert.Equal(t, 400, r.ask("GET", "/v1/procedures", r.physicist(), `{}`).status, "a body where none is wanted")
}

// TestNoIdentifierLeaks puts a patient's data into every place of a request that is not the search's body.
func TestNoIdentifierLeaks(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	c := r.procedure(own)
	for _, secret := range planted() {
		for _, request := range []*http.Request{
			httptest.NewRequest("GET", "/v1/patients/"+secret, nil),
			httptest.NewRequest("GET", "/v1/procedures?"+secret+"="+secret, nil),
			httptest.NewRequest("GET", "/v1/procedures?from=x"+secret, nil),
			httptest.NewRequest("GET", "/v1/"+secret, nil),
			httptest.NewRequest(secret, "/v1/procedures", nil),
			httptest.NewRequest("POST", "/v1/patients/search", strings.NewReader(`{"`+secret+`":1,"number":"x"}`)),
			httptest.NewRequest("POST", "/v1/patients/search", strings.NewReader(`{"number":["`+secret+`"]}`)),
			httptest.NewRequest("POST", "/v1/patients/search", strings.NewReader(`{"number":"`+strings.Repeat(secret, 9)+`"}`)),
			httptest.NewRequest("POST", "/v1/patients/search", strings.NewReader(`{"number":`+secret)),
			httptest.NewRequest("PATCH", "/v1/procedures/"+c.ID+"/facts", strings.NewReader(`{"class":"`+secret+`","source":"s","reason":"typed wrong"}`)),
		} {
			request.Header.Set("Authorization", "Bearer "+token)
			request.Header.Set("Content-Type", "application/json")
			request.Header.Set("If-Match", `"1-0"`)
			request.Header.Set("X-Request-Id", secret)
			request.Header.Set("User-Agent", secret)
			if request.Body == http.NoBody {
				request.Header.Del("Content-Type")
			}
			a := r.send(request)
			assert.GreaterOrEqual(t, a.status, 400)
			assert.Less(t, a.status, 500)
			for name, values := range a.header {
				assert.NotContains(t, strings.Join(values, " "), secret, name)
			}
		}
		a := r.ask("POST", "/v1/reports", token, secret+strings.Repeat(secret, 30), "Content-Type", "application/dicom")
		assert.Equal(t, 400, a.status)
		bad := strings.Replace(doseReport("2.25.1"), "PLANTED", "PLANTED\\", 1)
		r.ask("POST", "/v1/reports", token, bad[:len(bad)-7], "Content-Type", "application/dicom")
	}
	assert.NotContains(t, r.scrape(), "PLANTED")
	for _, action := range r.actions(0) {
		assert.NotContains(t, action, "PLANTED")
	}
}

func TestNothingRunsOn(t *testing.T) {
	before := goleak.IgnoreCurrent()
	t.Run("a server's life", func(t *testing.T) {
		r := newRig(t, nil)
		r.ask("GET", "/v1/procedures", r.physicist(), "")
		r.scrape()
	})
	goleak.VerifyNone(t, before)
}
