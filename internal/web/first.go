package web

import (
	"net/http"
	"strings"
	"time"

	"afterbeam/internal/access/password"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/store"
)

func (s *Site) firstPages() []page {
	if !s.cfg.Passwords {
		return nil
	}
	return []page{
		{method: http.MethodGet, path: "/first", title: "first.title", template: "first.html", open: true, quiet: true, serve: showFirst},
		{method: http.MethodPost, path: "/first", title: "first.title", template: "first.html", open: true, quiet: true, serve: makeFirst},
	}
}

// firstData is what the form of the first administrator shows, and then the token that was made.
type firstData struct {
	Account, Wrong string
	Shortest       int
	Token          string
	Until          time.Time
}

func showFirst(*view) (any, error) { return firstData{Shortest: password.Shortest}, nil }

// makeFirst spends the one-time token that the service printed, or the console's, on an administrator with a password.
func makeFirst(v *view) (any, error) {
	d := firstData{Account: strings.TrimSpace(v.form("account")), Shortest: password.Shortest}
	again := func(wrong string) (any, error) {
		d.Wrong = wrong
		return shown{http.StatusUnprocessableEntity, d}, nil
	}
	if wait := v.site.slow.take("", v.source); wait > 0 {
		return again(v.waitText(wait))
	}
	hash, wrong, err := v.newPassword(d.Account)
	if err != nil {
		return nil, err
	}
	if wrong != "" {
		return again(wrong)
	}
	made, err := ask[httpapi.NewToken](v, http.MethodPost, "/v1/setup", httpapi.SetupRequest{Name: d.Account}, "Authorization", "Bearer "+strings.TrimSpace(v.form("token")))
	switch statusOf(err) {
	case http.StatusUnauthorized:
		return again(v.lang.Text("first.no_token"))
	case http.StatusConflict:
		return again(v.lang.Text("first.taken"))
	case http.StatusBadRequest:
		return again(v.lang.Text("first.name"))
	}
	if err != nil {
		return nil, err
	}
	v.site.slow.succeeded("", v.source)
	actor := store.Actor{Account: made.Account.Id, Role: made.Account.Role, Source: v.source}
	if err := v.site.cfg.Store.ChangePassword(v.ctx(), actor, made.Account.Id, hash); err != nil {
		return nil, err
	}
	if err := v.begin(store.Account{ID: made.Account.Id, Role: made.Account.Role}, waySetup); err != nil {
		return nil, err
	}
	d.Token, d.Until = made.Token, made.ExpiresAt
	return d, nil
}
