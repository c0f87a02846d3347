package web

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"afterbeam/internal/audit"
	"afterbeam/internal/store"
)

// How failed attempts to sign in are slowed down: so many are free, each one more doubles the wait, up to the longest. A
// person's own mistakes meet the limit of a name from one address; guessing one name from many addresses, or many names from
// one, meets the wider ones. The numbers are the project's judgement.
var (
	pairLimit    = slowness{free: 5, longest: 15 * time.Minute}
	nameLimit    = slowness{free: 20, longest: 5 * time.Minute}
	addressLimit = slowness{free: 30, longest: 15 * time.Minute}
)

const (
	// failuresFade is how long after the last failure a key is forgotten.
	failuresFade = 2 * time.Hour
	// mostKeys bounds the memory; the names that are tried are the caller's to invent.
	mostKeys = 50_000
)

type slowness struct {
	free    int
	longest time.Duration
}

// wait gives how long after the last of n failures the next attempt is taken.
func (s slowness) wait(n int) time.Duration {
	if n < s.free {
		return 0
	}
	if over := n - s.free; over < 12 {
		return min(time.Second<<over, s.longest)
	}
	return s.longest
}

// slowdown counts failed attempts. It does not know which names there are, so that its answer does not tell. Nobody is locked
// out: the longest wait is minutes, and an address from which a name signed in is not held back by what others try.
type slowdown struct {
	now func() time.Time

	mu    sync.Mutex
	tried map[string]*attempts
	known map[string]time.Time // pairs that signed in
}

type attempts struct {
	failed int
	last   time.Time
}

func newSlowdown(now func() time.Time) *slowdown {
	return &slowdown{now: now, tried: map[string]*attempts{}, known: map[string]time.Time{}}
}

func pairKey(name, address string) string { return "pair " + address + " " + strings.ToLower(name) }
func nameKey(name string) string          { return "name " + strings.ToLower(name) }
func addressKey(address string) string    { return "address " + address }

// take takes one attempt, or says how long to wait. An attempt without a name, by a code, counts for its address alone.
// What was taken counts as failed until succeeded is told, so that many at
// once are no way round.
func (s *slowdown) take(name, address string) time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	now := s.now()
	s.forget(now)
	limits := map[string]slowness{addressKey(address): addressLimit}
	if name != "" {
		limits[pairKey(name, address)] = pairLimit
	}
	if _, ok := s.known[pairKey(name, address)]; !ok && name != "" {
		limits[nameKey(name)] = nameLimit
	}
	var wait time.Duration
	for key, limit := range limits {
		if a, ok := s.tried[key]; ok {
			wait = max(wait, a.last.Add(limit.wait(a.failed)).Sub(now))
		}
	}
	if wait > 0 {
		return wait
	}
	for key := range limits {
		a, ok := s.tried[key]
		if !ok {
			a = &attempts{}
			s.tried[key] = a
		}
		a.failed++
		a.last = now
	}
	return 0
}

// succeeded forgets the failures of a pair, and takes back the attempt from the wider counts: a success clears no failures
// of others.
func (s *slowdown) succeeded(name, address string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.tried, pairKey(name, address))
	for _, key := range []string{nameKey(name), addressKey(address)} {
		if a, ok := s.tried[key]; ok && a.failed > 0 {
			a.failed--
		}
	}
	if name != "" {
		s.known[pairKey(name, address)] = s.now()
	}
}

// forget makes room when there are many keys.
func (s *slowdown) forget(now time.Time) {
	if len(s.tried) < mostKeys && len(s.known) < mostKeys {
		return
	}
	for key, a := range s.tried {
		if now.Sub(a.last) > failuresFade {
			delete(s.tried, key)
		}
	}
	for key, at := range s.known {
		if now.Sub(at) > 24*time.Hour {
			delete(s.known, key)
		}
	}
	// A flood of invented names within the hours: the counts of names go, those of addresses stay.
	if len(s.tried) >= mostKeys {
		for key := range s.tried {
			if !strings.HasPrefix(key, "address ") {
				delete(s.tried, key)
			}
		}
	}
}

// refused audits sign-ins that failed, at most one a second with a burst of 60: a flood must not fill the disk. The next
// record says how many went before it.
type refused struct {
	limit *rate.Limiter
	now   func() time.Time

	mu      sync.Mutex
	skipped int
}

func newRefused(now func() time.Time) *refused {
	return &refused{limit: rate.NewLimiter(1, 60), now: now}
}

// noteRefused records a sign-in that failed. What was typed as a name is not recorded: it may be a password. account is that of the
// name, "" where there is none.
func (v *view) noteRefused(way, account, reason string) {
	r := v.site.refused
	r.mu.Lock()
	if !r.limit.AllowN(r.now(), 1) {
		r.skipped++
		r.mu.Unlock()
		return
	}
	if r.skipped > 0 {
		reason += fmt.Sprintf("; %d refusals before it have no record", r.skipped)
	}
	r.skipped = 0
	r.mu.Unlock()
	ctx, cancel := context.WithTimeout(context.WithoutCancel(v.ctx()), 10*time.Second)
	defer cancel()
	record := audit.Record{Action: "session.refuse", Object: account, Outcome: "refused", Reason: way + ": " + reason}
	if err := v.site.cfg.Store.Note(ctx, store.Actor{Source: v.source}, record); err != nil {
		v.site.cfg.Logger.LogAttrs(ctx, slog.LevelError, "refused sign-in not audited", slog.String("request_id", v.requestID), slog.String("error", err.Error()))
	}
}
