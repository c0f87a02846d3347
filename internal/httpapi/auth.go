package httpapi

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"
	"golang.org/x/time/rate"

	"afterbeam/internal/access"
	"afterbeam/internal/audit"
	"afterbeam/internal/store"
)

// authenticate finds the grant of the request's token. The open operations want none; the setup token is checked where
// it is spent, in one transaction with that.
func (s *Server) authenticate(op access.Operation) echo.MiddlewareFunc {
	open := slices.Contains(access.Open(), op)
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			if open {
				return next(c)
			}
			ctx := c.Request().Context()
			cl := callOf(ctx)
			if cl.person != nil && op != access.Setup {
				return s.authenticatePerson(next, c)
			}
			text, err := bearer(c.Request())
			if err != nil {
				return err
			}
			if op == access.Setup {
				cl.bearer = text
				return next(c)
			}
			grant, err := access.Check(ctx, s.store, text, s.cfg.Now())
			if err != nil {
				return err
			}
			cl.grant = grant
			if wait := s.tokens.take(grant.TokenID); wait > 0 {
				return &told{kind: errTooMany, detail: "this token asks too often", retry: wait}
			}
			s.used.note(ctx, grant.TokenID, s.cfg.Logger)
			return next(c)
		}
	}
}

// authenticatePerson takes the grant of a request from inside the process.
func (s *Server) authenticatePerson(next echo.HandlerFunc, c echo.Context) error {
	cl := callOf(c.Request().Context())
	cl.grant = cl.person.Grant
	if wait := s.tokens.take(cl.grant.TokenID); wait > 0 {
		return &told{kind: errTooMany, detail: "this session asks too often", retry: wait}
	}
	return next(c)
}

// bearer reads the one token of a request (RFC 6750, header alone: never in a URL or a body).
func bearer(r *http.Request) (string, error) {
	all := r.Header.Values("Authorization")
	if len(all) != 1 {
		return "", access.ErrUnknown
	}
	scheme, text, found := strings.Cut(all[0], " ")
	if !found || !strings.EqualFold(scheme, "Bearer") || text == "" {
		return "", access.ErrUnknown
	}
	return text, nil
}

// authorise asks the table of permissions.
func (s *Server) authorise(op access.Operation) echo.MiddlewareFunc {
	free := op == access.Setup || slices.Contains(access.Open(), op)
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			cl := callOf(c.Request().Context())
			if !free {
				if err := cl.grant.May(op); err != nil {
					return err
				}
			}
			cl.authorised = true
			return next(c)
		}
	}
}

// onlyAuthorised stands before every handler: an operation whose checks were not attached is not answered.
func onlyAuthorised(handler StrictHandlerFunc, operation string) StrictHandlerFunc {
	return func(c echo.Context, request any) (any, error) {
		if !callOf(c.Request().Context()).authorised {
			return nil, fmt.Errorf("operation %s has no checks", operation)
		}
		return handler(c, request)
	}
}

// checkPermissions tells whether contract and permissions name the same operations, each once.
func checkPermissions(contract map[access.Operation]bool) error {
	known := map[access.Operation]int{access.Setup: 1}
	for op := range access.Permissions() {
		known[op]++
	}
	for _, op := range access.Open() {
		known[op]++
	}
	var all []error
	for op := range contract {
		if known[op] != 1 {
			all = append(all, fmt.Errorf("%w: operation %s has %d entries in the permissions, wanted 1", store.ErrInvalid, op, known[op]))
		}
	}
	for op := range known {
		if !contract[op] {
			all = append(all, fmt.Errorf("%w: operation %s has permissions and is not in the contract", store.ErrInvalid, op))
		}
	}
	return errors.Join(all...)
}

// refusals audits refused requests: no valid token, not allowed, outside of the account's rooms. A flood of them must not
// fill the disk: at most RefusalRate a second get a record of their own (with a burst of 60, for a person's mistakes),
// the others are counted and the next record says how many went before it.
type refusals struct {
	store auditStore
	limit *rate.Limiter
	now   func() time.Time

	mu      sync.Mutex
	skipped int
}

func newRefusals(db auditStore, perSecond float64, now func() time.Time) *refusals {
	return &refusals{store: db, limit: rate.NewLimiter(rate.Limit(perSecond), 60), now: now}
}

func (r *refusals) note(ctx context.Context, cl *call, err error, logger *slog.Logger) {
	reason := ""
	switch {
	case errors.Is(err, access.ErrUnknown):
		reason = access.ErrUnknown.Error()
	case errors.Is(err, access.ErrForbidden):
		reason = access.ErrForbidden.Error()
	case errors.Is(err, access.ErrOutside):
		reason = "outside of the account's rooms"
	default:
		return
	}
	r.mu.Lock()
	if !r.limit.AllowN(r.now(), 1) {
		r.skipped++
		r.mu.Unlock()
		return
	}
	skipped := r.skipped
	r.skipped = 0
	r.mu.Unlock()
	if skipped > 0 {
		reason += fmt.Sprintf("; %d refusals before it have no record", skipped)
	}
	// The record is written also when the caller hung up.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	record := audit.Record{Action: "request.refuse", Object: string(cl.operation), Outcome: "refused", Reason: reason}
	if err := r.store.Note(ctx, cl.actor(), record); err != nil {
		logger.LogAttrs(ctx, slog.LevelError, "refusal not audited", slog.String("request_id", cl.id), slog.String("error", err.Error()))
	}
}
