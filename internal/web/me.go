package web

import (
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/store"
)

// The lives of a token that one may choose, in days.
func tokenDays() []int { return []int{7, 30, 90, 365} }

func (s *Site) mePages() []page {
	return []page{
		{method: http.MethodGet, path: "/me", title: "me.title", template: "me.html", serve: func(v *view) (any, error) { return v.me("") }},
		{method: http.MethodPost, path: "/me/tokens", title: "me.title", template: "me.html", fresh: true, serve: makeToken},
		{method: http.MethodPost, path: "/me/tokens/:id/revoke", serve: revokeToken},
	}
}

// meData is what a person sees of the own account.
type meData struct {
	Account   store.Account
	Rooms     string // in words, "" for every room
	NoCases   bool   // the role sees no patient
	Sessions  []store.Session
	This      string // id of this session
	Tokens    []store.Token
	Days      []int
	NewToken  string // shown once
	Wrong     string
	Passwords bool
	Notices   bool // the person may be told of cases
}

func (v *view) me(wrong string) (meData, error) {
	d := meData{
		Account: v.grant.Account, NoCases: v.grant.May("listProcedures") != nil, Rooms: strings.Join(v.grant.Account.Rooms, ", "), This: v.session.ID, Days: tokenDays(), Wrong: wrong, Passwords: v.site.cfg.Passwords,
		Notices: v.grant.May("setNoticePreferences") == nil,
	}
	var err error
	if d.Sessions, err = v.sessions(v.ctx()); err != nil {
		return d, err
	}
	d.Tokens, err = v.ownTokens()
	return d, err
}

// ownTokens lists the person's tokens that may still be used.
func (v *view) ownTokens() ([]store.Token, error) {
	all, err := v.site.cfg.Store.Tokens(v.ctx())
	now := v.site.cfg.Now()
	return slices.DeleteFunc(all, func(t store.Token) bool {
		return t.Account.ID != v.grant.Account.ID || !t.RevokedAt.IsZero() || !now.Before(t.ExpiresAt)
	}), err
}

// makeToken makes a token of the person's own account. It is shown in this answer and never again.
func makeToken(v *view) (any, error) {
	purpose := strings.TrimSpace(v.form("purpose"))
	days, err := strconv.Atoi(v.form("days"))
	if err != nil || purpose == "" || len(purpose) > 200 || !slices.Contains(tokenDays(), days) {
		d, err := v.me(v.lang.Text("me.token_wrong"))
		return shown{http.StatusUnprocessableEntity, d}, err
	}
	secret := access.NewSecret()
	until := v.site.cfg.Now().Add(time.Duration(days) * 24 * time.Hour)
	if _, err := v.site.cfg.Store.AddToken(v.ctx(), v.actor(), v.grant.Account.ID, secret.Prefix, secret.Hash, purpose, until); err != nil {
		return nil, err
	}
	d, err := v.me("")
	d.NewToken = secret.Text
	return d, err
}

// revokeToken ends one of the person's own tokens.
func revokeToken(v *view) (any, error) {
	own, err := v.ownTokens()
	if err != nil {
		return nil, err
	}
	id := v.param("id")
	if !slices.ContainsFunc(own, func(t store.Token) bool { return t.ID == id }) {
		return nil, store.ErrNotFound
	}
	err = v.site.cfg.Store.RevokeToken(v.ctx(), v.actor(), id, "revoked by its person")
	return redirect("/me?done=token-revoked"), err
}
