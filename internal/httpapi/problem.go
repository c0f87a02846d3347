package httpapi

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi/dicomweb"
	"afterbeam/internal/httpapi/fhirrest"
	"afterbeam/internal/ingest"
	"afterbeam/internal/store"
	"afterbeam/internal/store/object"
)

// The kinds of failure that only HTTP knows.
var (
	errTooMany        = errors.New("too many requests")
	errBusy           = errors.New("too much at once")
	errMediaType      = errors.New("another media type is wanted")
	errStale          = errors.New("changed meanwhile")
	errNoPrecondition = errors.New("no If-Match")
	errBodyEnded      = errors.New("body ended early")
	errBodySlow       = errors.New("body took too long")
	errPanic          = errors.New("panic")
	errDamaged        = errors.New("stored bytes are damaged or missing")
	errNotPlanned     = errors.New("no plan can be made")
	errNoPaper        = errors.New("no paper can be made")
)

// told is a failure with a text for the caller. The text is ours: it holds nothing that the caller sent.
type told struct {
	kind   error
	detail string
	retry  time.Duration
}

func tell(kind error, detail string) error { return &told{kind: kind, detail: detail} }

func (t *told) Error() string { return t.kind.Error() + ": " + t.detail }
func (t *told) Unwrap() error { return t.kind }

// statusOf turns the kind of an error into a status: the one table of this door. An unknown kind is internal.
func statusOf(err error) int {
	for _, row := range []struct {
		kind   error
		status int
	}{
		{errPanic, http.StatusInternalServerError},
		{errDamaged, http.StatusInternalServerError},
		{dicomweb.ErrDamaged, http.StatusInternalServerError},
		{errTooMany, http.StatusTooManyRequests},
		{errMediaType, http.StatusUnsupportedMediaType},
		{dicomweb.ErrMediaType, http.StatusUnsupportedMediaType},
		{dicomweb.ErrNotAcceptable, http.StatusNotAcceptable},
		{fhirrest.ErrMediaType, http.StatusUnsupportedMediaType},
		{fhirrest.ErrNotAcceptable, http.StatusNotAcceptable},
		{fhirrest.ErrUnmet, http.StatusUnprocessableEntity},
		{fhirrest.ErrSeveral, http.StatusConflict},
		{errNotPlanned, http.StatusUnprocessableEntity},
		{errNoPaper, http.StatusUnprocessableEntity},
		{errNoPrecondition, http.StatusPreconditionRequired},
		{errStale, http.StatusPreconditionFailed},
		{errBodySlow, http.StatusRequestTimeout},
		{errBodyEnded, http.StatusBadRequest},
		{access.ErrUnknown, http.StatusUnauthorized},
		{access.ErrForbidden, http.StatusForbidden},
		{object.ErrTooLarge, http.StatusRequestEntityTooLarge},
		{ingest.ErrRefused, http.StatusBadRequest},
		{errBusy, http.StatusServiceUnavailable},
		{store.ErrFatal, http.StatusServiceUnavailable},
		{object.ErrSync, http.StatusServiceUnavailable},
		{store.ErrUnavailable, http.StatusServiceUnavailable},
		{context.Canceled, http.StatusServiceUnavailable},
		{context.DeadlineExceeded, http.StatusServiceUnavailable},
		{store.ErrNotFound, http.StatusNotFound},
		{store.ErrConflict, http.StatusConflict},
		{store.ErrInvalid, http.StatusBadRequest},
	} {
		if errors.Is(err, row.kind) {
			return row.status
		}
	}
	var router *echo.HTTPError
	if errors.As(err, &router) {
		return router.Code
	}
	return http.StatusInternalServerError
}

// detailOf gives the text that the caller may read: one that was written for it, or what the guard of reports found,
// which names places and forms in the file and never its values.
func detailOf(err error) *string {
	var own *told
	var web *dicomweb.Refusal
	var resource *fhirrest.Refusal
	switch {
	case errors.As(err, &own):
		return &own.detail
	case errors.As(err, &web):
		return &web.Detail
	case errors.As(err, &resource):
		return &resource.Detail
	case errors.Is(err, ingest.ErrRefused):
		text := err.Error()
		return &text
	case errors.Is(err, store.ErrCursor):
		text := "parameter after does not fit: wanted the cursor next of a page of this list"
		return &text
	}
	return nil
}

// retryAfter is how long a caller waits after a status that passes.
func retryAfter(err error, status int) time.Duration {
	var own *told
	if errors.As(err, &own) && own.retry > 0 {
		return own.retry
	}
	if status == http.StatusServiceUnavailable {
		return 5 * time.Second
	}
	return time.Second
}

// problem answers a failed request by RFC 9457. What went wrong inside stays in the log.
func (s *Server) problem(err error, c echo.Context) {
	call := callOf(c.Request().Context())
	if errors.Is(err, store.ErrFatal) || errors.Is(err, object.ErrSync) {
		s.cfg.Fatal(err)
	}
	if c.Response().Committed {
		return
	}
	status := statusOf(err)
	header := c.Response().Header()
	switch status {
	case http.StatusMethodNotAllowed:
		header.Del("Allow") // the router's own tells of OPTIONS
		if methods := s.allowed(c.Path()); methods != "" {
			header.Set("Allow", methods)
		}
	case http.StatusUnauthorized:
		header.Set("WWW-Authenticate", `Bearer realm="afterbeam"`)
	case http.StatusServiceUnavailable, http.StatusTooManyRequests:
		wait := retryAfter(err, status)
		header.Set("Retry-After", strconv.Itoa(int((wait+time.Second-1)/time.Second)))
	case http.StatusRequestEntityTooLarge, http.StatusRequestTimeout:
		// The rest of the body is not worth reading.
		header.Set("Connection", "close")
	}
	title := http.StatusText(status)
	if title == "" {
		title = "Request failed"
	}
	p := Problem{Type: "about:blank", Title: title, Status: status, Detail: detailOf(err), RequestId: &call.id}
	if s.failed != nil && isPage(c.Request().URL.Path) {
		header.Del("WWW-Authenticate") // a browser would ask for a name and a password of its own
		if err := s.failed(c, p); err != nil {
			call.writeFailed = true
		}
		return
	}
	if err := s.tell(c, p, err); err != nil {
		call.writeFailed = true
	}
}

// tell writes a failure as the interface of its path does: by RFC 9457, or as an OperationOutcome.
func (s *Server) tell(c echo.Context, p Problem, err error) error {
	if speaksFHIR(c.Request().URL.Path) {
		return s.outcome(c, p, err)
	}
	body, err := json.Marshal(p)
	if err != nil {
		body = []byte(`{"type":"about:blank","title":"Internal Server Error","status":500}`)
	}
	return c.Blob(p.Status, "application/problem+json", body)
}
