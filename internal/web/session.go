package web

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/store"
)

// freshFor is how long a proof of who one is holds for what wants a fresh one.
const freshFor = 5 * time.Minute

// seenEvery is how often the use of a session is written down.
const seenEvery = time.Minute

// The ways of signing in.
const (
	wayPassword = "password"
	wayOpenID   = "openid"
	waySetup    = "setup"
)

func (s *Site) sessionPages() []page {
	return []page{
		{method: http.MethodGet, path: "/session/left", quiet: true, serve: sessionLeft},
		{method: http.MethodPost, path: "/session/go-on", serve: sessionLeft},
		{method: http.MethodPost, path: "/sign-out", quiet: true, open: true, serve: signOut},
		{method: http.MethodPost, path: "/sign-out-everywhere", quiet: true, serve: signOutEverywhere},
		{method: http.MethodPost, path: "/me/sessions/:id/end", serve: endSession},
	}
}

// cookieName is that of the session. With HTTPS the prefix makes a browser refuse one that another host or an unencrypted page
// set (RFC 6265bis, 4.1.3).
func (s *Site) cookieName() string {
	if s.cfg.Secure {
		return "__Host-afterbeam"
	}
	return "afterbeam"
}

func (v *view) setSessionCookie(value string, age int) {
	v.setCookie(v.site.cookieName(), value, age)
}

// identify finds the session of the request; none that may still be used is errSessionOver.
func (v *view) identify() error {
	cookie, err := v.c.Cookie(v.site.cookieName())
	if err != nil {
		return errSessionOver
	}
	now := v.site.cfg.Now()
	session, grant, err := access.CheckSession(v.ctx(), v.site.cfg.Store, cookie.Value, v.site.cfg.Idle, now)
	if errors.Is(err, access.ErrUnknown) {
		return errSessionOver
	}
	if err != nil {
		return err
	}
	v.session, v.grant = session, grant
	if v.page.quiet || now.Sub(session.SeenAt) < min(seenEvery, v.site.cfg.Idle/4) {
		return nil
	}
	v.session.SeenAt = now
	return v.site.cfg.Store.SessionSeen(v.ctx(), session.ID)
}

// left is how long the session lasts without further use.
func (v *view) left() time.Duration {
	now := v.site.cfg.Now()
	return min(v.session.SeenAt.Add(v.site.cfg.Idle).Sub(now), v.session.EndsAt.Sub(now))
}

// isFresh tells whether the person proved lately who it is.
func (v *view) isFresh() bool { return v.site.cfg.Now().Sub(v.session.ConfirmedAt) < freshFor }

// begin signs a person in: a new session under a new secret, whatever the browser had before.
func (v *view) begin(a store.Account, way string) error {
	if v.signedIn() {
		if err := v.site.cfg.Store.EndSession(v.ctx(), v.actor(), v.session.Account.ID, v.session.ID, "signed in anew"); err != nil && !errors.Is(err, store.ErrNotFound) {
			return err
		}
	}
	text, hash := access.NewSessionSecret()
	actor := store.Actor{Account: a.ID, Role: a.Role, Source: v.source}
	_, err := v.site.cfg.Store.BeginSession(v.ctx(), actor, store.Session{
		Account: a, Way: way, Source: v.source, Agent: cut(v.c.Request().UserAgent(), 200), EndsAt: v.site.cfg.Now().Add(v.site.cfg.Longest),
	}, hash)
	if err != nil {
		return err
	}
	v.setSessionCookie(text, 0)
	return nil
}

// cut shortens a text to so many bytes at most, at the border of a character.
func cut(text string, n int) string {
	if len(text) <= n {
		return text
	}
	for n > 0 && text[n]&0xC0 == 0x80 {
		n--
	}
	return text[:n]
}

// sessionLeft answers how many seconds the session lasts.
func sessionLeft(v *view) (any, error) {
	body, err := json.Marshal(map[string]int{"left": int(v.left().Seconds())})
	return raw{"application/json", body}, err
}

func (v *view) signedOut() {
	v.setSessionCookie("", -1)
	v.c.Response().Header().Set("Clear-Site-Data", `"cache", "storage"`)
}

func signOut(v *view) (any, error) {
	if v.signedIn() {
		if err := v.site.cfg.Store.EndSession(v.ctx(), v.actor(), v.session.Account.ID, v.session.ID, "signed out"); err != nil {
			return nil, err
		}
	}
	v.signedOut()
	return redirect("/sign-in?done=signed-out"), nil
}

func signOutEverywhere(v *view) (any, error) {
	if err := v.site.cfg.Store.EndSessions(v.ctx(), v.actor(), v.session.Account.ID, "signed out everywhere"); err != nil {
		return nil, err
	}
	v.signedOut()
	return redirect("/sign-in?done=signed-out-everywhere"), nil
}

// endSession ends one of the person's own sessions.
func endSession(v *view) (any, error) {
	err := v.site.cfg.Store.EndSession(v.ctx(), v.actor(), v.session.Account.ID, v.param("id"), "ended by its person")
	return redirect("/me?done=session-ended"), err
}

// sessions lists the person's sessions, this one first.
func (v *view) sessions(ctx context.Context) ([]store.Session, error) {
	all, err := v.site.cfg.Store.SessionsOf(ctx, v.session.Account.ID)
	if err != nil {
		return nil, err
	}
	now := v.site.cfg.Now()
	var open []store.Session
	for _, one := range all {
		switch {
		case one.ID == v.session.ID:
			open = append([]store.Session{one}, open...)
		case now.Sub(one.SeenAt) < v.site.cfg.Idle:
			open = append(open, one)
		}
	}
	return open, nil
}
