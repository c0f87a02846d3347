package httpapi

import (
	"container/list"
	"context"
	"log/slog"
	"net/netip"
	"sync"
	"time"

	"github.com/labstack/echo/v4"
	"golang.org/x/time/rate"
)

// remembered is how many tokens or addresses are remembered; the one seen longest ago is forgotten first.
const remembered = 10_000

// recent is a bounded memory of what was seen last, by key.
type recent[T any] struct {
	order *list.List // front is the newest
	byKey map[string]*list.Element
	limit int
}

type entry[T any] struct {
	key   string
	value T
}

func newRecent[T any](limit int) *recent[T] {
	return &recent[T]{order: list.New(), byKey: map[string]*list.Element{}, limit: limit}
}

// find gives the value of a key, if it is remembered.
func (r *recent[T]) find(key string) (*T, bool) {
	e, ok := r.byKey[key]
	if !ok {
		return nil, false
	}
	r.order.MoveToFront(e)
	return &e.Value.(*entry[T]).value, true
}

// get gives the value of a key, made by fresh when it is not remembered.
func (r *recent[T]) get(key string, fresh func() T) *T {
	if value, ok := r.find(key); ok {
		return value
	}
	if r.order.Len() >= r.limit {
		oldest := r.order.Back()
		delete(r.byKey, oldest.Value.(*entry[T]).key)
		r.order.Remove(oldest)
	}
	one := &entry[T]{key: key, value: fresh()}
	r.byKey[key] = r.order.PushFront(one)
	return &one.value
}

// limiters hold back the callers that ask too often, each by its key.
type limiters struct {
	perSecond float64
	now       func() time.Time

	mu   sync.Mutex
	seen *recent[*rate.Limiter]
}

func newLimiters(perSecond float64, now func() time.Time) *limiters {
	return &limiters{perSecond: perSecond, now: now, seen: newRecent[*rate.Limiter](remembered)}
}

// take takes one request of a key; a positive answer is how long to wait instead.
func (l *limiters) take(key string) time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	limiter := *l.seen.get(key, func() *rate.Limiter {
		return rate.NewLimiter(rate.Limit(l.perSecond), max(1, int(2*l.perSecond)))
	})
	now := l.now()
	r := limiter.ReserveN(now, 1)
	wait := r.DelayFrom(now)
	if wait > 0 {
		r.CancelAt(now)
	}
	return wait
}

// limitAddress holds back an address, so that guessing tokens is slow. An IPv6 caller owns a whole /64.
func (s *Server) limitAddress(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		cl := callOf(c.Request().Context())
		if cl.person != nil {
			return next(c) // the page that asks was counted
		}
		key := cl.source
		if a, err := netip.ParseAddr(key); err == nil && a.Is6() {
			if p, err := a.WithZone("").Prefix(64); err == nil {
				key = p.String()
			}
		}
		if wait := s.address.take(key); wait > 0 {
			return &told{kind: errTooMany, detail: "this address asks too often", retry: wait}
		}
		return next(c)
	}
}

// usageEvery is how often the last use of a token is written down.
const usageEvery = time.Minute

// usage notes when tokens were last used, without a write for every request.
type usage struct {
	store tokenStore
	now   func() time.Time

	mu   sync.Mutex
	seen *recent[time.Time]
}

func newUsage(db tokenStore, now func() time.Time) *usage {
	return &usage{store: db, now: now, seen: newRecent[time.Time](remembered)}
}

// note notes a use. Failing to is told to the log alone: the request does not depend on it.
func (u *usage) note(ctx context.Context, token string, logger *slog.Logger) {
	now := u.now()
	u.mu.Lock()
	last := u.seen.get(token, func() time.Time { return time.Time{} })
	due := now.Sub(*last) >= usageEvery
	if due {
		*last = now
	}
	u.mu.Unlock()
	if !due {
		return
	}
	if err := u.store.TokenUsed(ctx, token); err != nil {
		logger.LogAttrs(ctx, slog.LevelWarn, "use of token not noted", slog.String("request_id", callOf(ctx).id), slog.String("error", err.Error()))
	}
}
