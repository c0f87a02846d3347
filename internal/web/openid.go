package web

import (
	"context"
	"crypto/subtle"
	"errors"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"golang.org/x/oauth2"

	"afterbeam/internal/access"
	"afterbeam/internal/access/openid"
	"afterbeam/internal/store"
)

// Issuer is where people sign in elsewhere. openid.Provider is one.
type Issuer interface {
	Label() string
	Begin(ctx context.Context, state, nonce, verifier string, again bool) (string, error)
	Finish(ctx context.Context, code, nonce, verifier string) (openid.Identity, error)
}

// AnswerPath is where an issuer sends browsers back to.
const AnswerPath = "/sign-in/openid/answer"

// flowFor is how long a person may take at the issuer, clockSkew how far its clock may differ from ours.
const (
	flowFor   = 10 * time.Minute
	clockSkew = time.Minute
	mostFlows = 10_000
)

func (s *Site) openIDPages() []page {
	if s.cfg.Issuer == nil {
		return nil
	}
	return []page{
		{method: http.MethodGet, path: "/sign-in/openid", open: true, quiet: true, serve: beginOpenID},
		{method: http.MethodGet, path: AnswerPath, title: "signin.title", template: "signin.html", open: true, quiet: true, serve: endOpenID},
	}
}

// flow is what we know of a person who is at the issuer.
type flow struct {
	state, nonce, verifier string
	next                   string
	session                string // the session that is confirmed, "" for a new one
	begun                  time.Time
}

// flows remembers who is at the issuer, by the hash of a cookie, each to be used once. A restart forgets them, and people
// begin again.
type flows struct {
	now func() time.Time

	mu  sync.Mutex
	all map[string]flow
}

func newFlows(now func() time.Time) *flows { return &flows{now: now, all: map[string]flow{}} }

func (f *flows) add(key string, one flow) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for k, old := range f.all {
		if f.now().Sub(old.begun) > flowFor {
			delete(f.all, k)
		}
	}
	if len(f.all) < mostFlows {
		f.all[key] = one
	}
}

func (f *flows) take(key string) (flow, bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	one, ok := f.all[key]
	delete(f.all, key)
	return one, ok && f.now().Sub(one.begun) <= flowFor
}

func (v *view) flowCookie(value string, age int) {
	v.setCookie(v.site.cookieName()+"-flow", value, age)
}

// beginOpenID sends the browser to the issuer.
func beginOpenID(v *view) (any, error) {
	secret := func() string {
		text, _ := access.NewSessionSecret()
		return text
	}
	one := flow{
		state: secret(), nonce: secret(), verifier: oauth2.GenerateVerifier(), next: local(v.query("next")), begun: v.site.cfg.Now(),
		session: v.session.ID,
	}
	to, err := v.site.cfg.Issuer.Begin(v.ctx(), one.state, one.nonce, one.verifier, one.session != "")
	if err != nil {
		return v.notAtIssuer(err)
	}
	text, hash := access.NewSessionSecret()
	v.site.flows.add(hash, one)
	v.flowCookie(text, int(flowFor.Seconds()))
	return redirect(to), nil
}

// endOpenID takes the issuer's answer.
func endOpenID(v *view) (any, error) {
	cookie, err := v.c.Cookie(v.site.cookieName() + "-flow")
	if err != nil {
		return v.notAtIssuer(errors.Join(openid.ErrRefused, err))
	}
	v.flowCookie("", -1)
	one, ok := v.site.flows.take(access.Hash(cookie.Value))
	if !ok || subtle.ConstantTimeCompare([]byte(one.state), []byte(v.query("state"))) != 1 || v.query("code") == "" {
		return v.notAtIssuer(openid.ErrRefused)
	}
	who, err := v.site.cfg.Issuer.Finish(v.ctx(), v.query("code"), one.nonce, one.verifier)
	if err != nil {
		return v.notAtIssuer(err)
	}
	a, err := v.accountOf(who)
	if err != nil {
		return v.notAtIssuer(err)
	}
	to := redirect("/")
	if one.next != "" {
		to = redirect(one.next)
	}
	if one.session == "" || one.session != v.session.ID {
		return to, v.begin(a, wayOpenID)
	}
	// A confirmation is by the same person, anew.
	if a.ID != v.session.Account.ID || who.At.Before(one.begun.Add(-clockSkew)) {
		return v.notAtIssuer(openid.ErrRefused)
	}
	return to, v.site.cfg.Store.ConfirmSession(v.ctx(), v.actor(), v.session.ID)
}

// accountOf gives the account of an identity; one is made only where the site says so.
func (v *view) accountOf(who openid.Identity) (store.Account, error) {
	out := store.Outside{Issuer: who.Issuer, Subject: who.Subject, Name: who.Name}
	a, err := v.site.cfg.Store.AccountOfOutside(v.ctx(), v.source, out)
	role := v.site.cfg.NewRole
	if role == "" || !errors.Is(err, store.ErrNotFound) {
		return a, err
	}
	made := store.Account{Name: who.Name, Role: string(role), OwnCases: role == access.Operator}
	if _, err := v.site.cfg.Store.MakeAccount(v.ctx(), store.Actor{Account: "openid", Role: string(access.Service), Source: v.source}, made); err != nil {
		return a, err
	}
	return v.site.cfg.Store.AccountOfOutside(v.ctx(), v.source, out)
}

// notAtIssuer shows the page of signing in with what went wrong, the same for every reason that proves nothing.
func (v *view) notAtIssuer(err error) (any, error) {
	key := "signin.outside"
	switch {
	case errors.Is(err, openid.ErrUnreachable):
		key = "signin.unreachable"
	case errors.Is(err, openid.ErrRefused), errors.Is(err, store.ErrNotFound), errors.Is(err, store.ErrConflict):
	default:
		return nil, err
	}
	// The issuer's errors hold no secret of a person: claims are not among them.
	v.site.cfg.Logger.LogAttrs(v.ctx(), slog.LevelWarn, "sign-in at the issuer refused", slog.String("request_id", v.requestID), slog.String("error", err.Error()))
	v.noteRefused(wayOpenID, "", "the issuer's answer names no account")
	status := http.StatusUnprocessableEntity
	if key == "signin.unreachable" {
		status = http.StatusBadGateway
	}
	if err := v.render(status, "signin.html", "signin.title", v.signInData(v.lang.Text(key))); err != nil {
		return nil, err
	}
	return sent{}, nil
}
