package httpapi

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"os"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"afterbeam/internal/access"
	"afterbeam/internal/store"
	"afterbeam/internal/store/object"
)

// call is what the checks learn of a request.
type call struct {
	id          string // the request id: ours, never the caller's
	source      string // the caller's address
	operation   access.Operation
	grant       access.Grant
	person      *SignedIn // who a page asks for, nil for a request from the network
	bearer      string
	authorised  bool
	length      int64  // of the body, -1 when it was not said
	charset     string // of the body, "" when it was not said
	writeFailed bool
}

func (c *call) actor() store.Actor { return c.grant.Actor(c.source) }

type callKey struct{}

// callOf gives the call of a request's context.
func callOf(ctx context.Context) *call {
	if c, ok := ctx.Value(callKey{}).(*call); ok {
		return c
	}
	return &call{}
}

// record is the outermost check: it names the request, sets the headers that every answer has, turns errors into
// problems, and writes log, metrics and refusals.
func (s *Server) record(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		started := s.cfg.Now()
		r := c.Request()
		cl := &call{
			id: newRequestID(), source: sourceOf(r, s.cfg.BehindProxy), length: r.ContentLength,
			operation: s.byRoute[r.Method+" "+c.Path()], person: personOf(r.Context()),
		}
		if cl.person != nil {
			cl.source = cl.person.Source
		}
		ctx := context.WithValue(r.Context(), callKey{}, cl)
		c.SetRequest(r.WithContext(ctx))
		setHeaders(c.Response().Header(), cl.id)
		err := next(c)
		if err != nil {
			c.Error(err)
		}
		took := s.cfg.Now().Sub(started)
		status := c.Response().Status
		s.metrics.request(cl.operation, status, took)
		s.refusals.note(ctx, cl, err, s.cfg.Logger)
		attributes := []slog.Attr{
			slog.String("request_id", cl.id), slog.String("operation", string(cl.operation)), slog.Int("status", status),
			slog.Int64("took_ms", took.Milliseconds()), slog.String("account", cl.grant.Account.ID),
		}
		level := slog.LevelInfo
		if status >= http.StatusInternalServerError && err != nil {
			level = slog.LevelError
			attributes = append(attributes, slog.String("error", err.Error()))
		}
		s.cfg.Logger.LogAttrs(ctx, level, "request", attributes...)
		return nil
	}
}

// setHeaders sets what every answer carries: nothing of it is kept, sniffed, framed or run by a browser.
func setHeaders(h http.Header, id string) {
	h.Set("X-Request-Id", id)
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Security-Policy", "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Strict-Transport-Security", "max-age=31536000; includeSubDomains")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("X-Frame-Options", "DENY")
}

func newRequestID() string {
	var b [12]byte
	_, _ = rand.Read(b[:]) // never fails: crypto/rand ends the process instead
	return hex.EncodeToString(b[:])
}

// sourceOf gives the caller's address. Only the last entry of X-Forwarded-For is the proxy's own word: those before it
// are whatever the caller sent.
func sourceOf(r *http.Request, behindProxy bool) string {
	if behindProxy {
		all := r.Header.Values("X-Forwarded-For")
		if len(all) > 0 {
			entries := strings.Split(all[len(all)-1], ",")
			if a, err := netip.ParseAddr(strings.TrimSpace(entries[len(entries)-1])); err == nil {
				return a.Unmap().WithZone("").String()
			}
		}
	}
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return "unknown"
	}
	return host
}

// recover turns a panic into an internal failure. The log gets its place in the program; its value only where the
// runtime wrote it, since any other may hold a patient's data.
func (s *Server) recover(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) (err error) {
		defer func() {
			value := recover()
			if value == nil {
				return
			}
			if value == http.ErrAbortHandler { //nolint:errorlint // the server's own sentinel, panicked as it is
				panic(value)
			}
			text := fmt.Sprintf("%T", value)
			if own, ok := value.(runtime.Error); ok {
				text = own.Error()
			}
			s.cfg.Logger.LogAttrs(c.Request().Context(), slog.LevelError, "panic",
				slog.String("request_id", callOf(c.Request().Context()).id), slog.String("panic", text), slog.String("stack", string(debug.Stack())))
			err = fmt.Errorf("%w: %s", errPanic, text)
		}()
		return next(c)
	}
}

// onlyKnownMethods refuses what no operation uses, before the router's own answer to OPTIONS.
func onlyKnownMethods(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if slices.Contains(knownMethods(), c.Request().Method) {
			return next(c)
		}
		return echo.ErrMethodNotAllowed
	}
}

// knownMethods lists the methods of the contract.
func knownMethods() []string {
	return []string{http.MethodGet, http.MethodPatch, http.MethodPost, http.MethodPut}
}

// allowed lists the methods that operations of a route have, for the header Allow (RFC 9110, 15.5.6).
func (s *Server) allowed(route string) string {
	return strings.Join(slices.DeleteFunc(knownMethods(), func(method string) bool { return s.byRoute[method+" "+route] == "" }), ", ")
}

// capBody refuses a body that says it is too large and cuts one that does not say so.
func (s *Server) capBody(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		limit := int64(jsonLimit)
		if objects, ok := s.receives[callOf(r.Context()).operation]; ok {
			limit = objects
		}
		if r.ContentLength > limit {
			return fmt.Errorf("%w: body", object.ErrTooLarge)
		}
		if r.Body != nil && r.Body != http.NoBody {
			r.Body = bodyReader{http.MaxBytesReader(c.Response(), r.Body, limit)}
		}
		return next(c)
	}
}

// bodyReader gives the failures of reading a body their kinds, so that none is taken for one of the store.
type bodyReader struct{ io.ReadCloser }

// Read reads on.
func (b bodyReader) Read(p []byte) (int, error) {
	n, err := b.ReadCloser.Read(p)
	return n, bodyKind(err)
}

func bodyKind(err error) error {
	var tooLarge *http.MaxBytesError
	var network net.Error
	switch {
	case err == nil, err == io.EOF: //nolint:errorlint // a reader's end is io.EOF itself
		return err
	case errors.As(err, &tooLarge):
		return fmt.Errorf("%w: body", object.ErrTooLarge)
	case errors.Is(err, os.ErrDeadlineExceeded), errors.As(err, &network) && network.Timeout():
		return errBodySlow
	}
	return errBodyEnded
}
