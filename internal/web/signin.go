package web

import (
	"errors"
	"math"
	"net/http"
	"time"

	"afterbeam/internal/store"
)

func (s *Site) signInPages() []page {
	return []page{
		{method: http.MethodGet, path: "/sign-in", title: "signin.title", template: "signin.html", open: true, quiet: true, serve: showSignIn},
		{method: http.MethodPost, path: "/sign-in", title: "signin.title", template: "signin.html", open: true, quiet: true, serve: signIn},
		{method: http.MethodGet, path: "/confirm", title: "confirm.title", template: "confirm.html", serve: showConfirm},
		{method: http.MethodPost, path: "/confirm", title: "confirm.title", template: "confirm.html", serve: confirm},
	}
}

// signInData is what the forms of signing in and of confirming show.
type signInData struct {
	Next, Account string
	Wrong         string
	Passwords     bool
	Issuer        string // its label, "" for none
}

func (v *view) signInData(wrong string) signInData {
	d := signInData{Next: local(v.c.Request().FormValue("next")), Account: v.form("account"), Wrong: wrong, Passwords: v.site.cfg.Passwords}
	if v.site.cfg.Issuer != nil {
		d.Issuer = v.site.cfg.Issuer.Label()
	}
	return d
}

func showSignIn(v *view) (any, error) { return v.signInData(""), nil }

// signIn takes name and password. Every way to fail has one answer and takes the time of one hash.
func signIn(v *view) (any, error) {
	if !v.site.cfg.Passwords {
		return nil, &failure{status: http.StatusNotFound}
	}
	a, wrong, err := v.checkPassword(v.form("account"), v.form("password"))
	if err != nil {
		return nil, err
	}
	if wrong != "" {
		return shown{http.StatusUnprocessableEntity, v.signInData(wrong)}, nil
	}
	if err := v.begin(a, wayPassword); err != nil {
		return nil, err
	}
	return v.onward(), nil
}

// onward leads to where the person wanted to go.
func (v *view) onward() redirect {
	if next := local(v.c.Request().FormValue("next")); next != "" {
		return redirect(next)
	}
	return "/"
}

// checkPassword gives the account of a name and password; wrong says in the person's language why there is none.
func (v *view) checkPassword(name, text string) (a store.Account, wrong string, err error) {
	if wait := v.site.slow.take(name, v.source); wait > 0 {
		return a, v.waitText(wait), nil
	}
	a, kept, err := v.site.cfg.Store.PasswordOf(v.ctx(), name)
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return a, "", err
	}
	matches, err := v.site.passwords.Matches(v.ctx(), kept, text)
	if err != nil {
		return a, "", err
	}
	if !matches {
		v.noteRefused(wayPassword, a.ID, "no such account and password")
		return store.Account{}, v.lang.Text("signin.wrong"), nil
	}
	v.site.slow.succeeded(name, v.source)
	return a, "", nil
}

func (v *view) waitText(wait time.Duration) string {
	if wait > time.Minute {
		return v.lang.Count("signin.wait_minutes", int(math.Ceil(wait.Minutes())))
	}
	return v.lang.Count("signin.wait_seconds", int(math.Ceil(wait.Seconds())))
}

func showConfirm(v *view) (any, error) { return v.signInData(""), nil }

// confirm takes the password of who is signed in already.
func confirm(v *view) (any, error) {
	a, wrong, err := v.checkPassword(v.session.Account.Name, v.form("password"))
	if err != nil {
		return nil, err
	}
	if wrong != "" || a.ID != v.session.Account.ID {
		return shown{http.StatusUnprocessableEntity, v.signInData(wrong)}, nil
	}
	if err := v.site.cfg.Store.ConfirmSession(v.ctx(), v.actor(), v.session.ID); err != nil {
		return nil, err
	}
	return v.onward(), nil
}
