package httpapi

import (
	"bytes"
	"context"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"afterbeam/internal/access"
)

// SignedIn is somebody who signed in to the pages: who the caller of Inside has made sure it is.
type SignedIn struct {
	Grant  access.Grant
	Source string // network address
}

// Answer is what an operation answered inside the process.
type Answer struct {
	Status int
	Header http.Header
	Body   []byte
}

type personKey struct{}

// personOf gives the person that a request inside the process is made for, or nil.
func personOf(ctx context.Context) *SignedIn {
	p, _ := ctx.Value(personKey{}).(*SignedIn)
	return p
}

// Inside answers a request that a page makes for a person: rights, rooms, schema, audit and limits are those of a token of
// the person's account. The request is never on the network, so that nobody outside can say who he is by it.
func (s *Server) Inside(r *http.Request, p SignedIn) Answer {
	w := &memory{header: http.Header{}, status: http.StatusOK}
	s.echo.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), personKey{}, &p)))
	return Answer{Status: w.status, Header: w.header, Body: w.body.Bytes()}
}

// memory keeps an answer.
type memory struct {
	header  http.Header
	status  int
	started bool
	body    bytes.Buffer
}

func (m *memory) Header() http.Header { return m.header }

func (m *memory) WriteHeader(status int) {
	if !m.started {
		m.status, m.started = status, true
	}
}

func (m *memory) Write(p []byte) (int, error) {
	m.started = true
	return m.body.Write(p)
}

// Page is a route of the pages that people see.
type Page struct {
	Method, Path string
	Serve        echo.HandlerFunc
}

// pageOperation stands for every page in log and metrics.
const pageOperation access.Operation = "page"

// Mount puts pages beside the operations, behind the same request id, limits and recovery; who may see them is theirs to
// ask. failed answers what goes wrong outside of the operations' paths, in place of problem+json. Mount before serving.
func (s *Server) Mount(pages []Page, failed func(echo.Context, Problem) error) {
	s.failed = failed
	for _, p := range pages {
		s.byRoute[p.Method+" "+p.Path] = pageOperation
		s.echo.Add(p.Method, p.Path, p.Serve)
	}
}

// isPage tells whether a path is outside of those of the operations.
func isPage(path string) bool {
	for _, prefix := range []string{"/v1/", "/dicomweb/", "/fhir/", "/healthz", "/readyz"} {
		if strings.HasPrefix(path, prefix) {
			return false
		}
	}
	return true
}

// Caller tells of a request to a page what the checks before it learned: our id of it, and the caller's address.
func Caller(ctx context.Context) (requestID, source string) {
	cl := callOf(ctx)
	return cl.id, cl.source
}
