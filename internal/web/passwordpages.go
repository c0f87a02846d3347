package web

import (
	"errors"
	"net/http"

	"afterbeam/internal/access"
	"afterbeam/internal/access/password"
	"afterbeam/internal/store"
)

func (s *Site) passwordPages() []page {
	if !s.cfg.Passwords {
		return nil
	}
	return []page{
		{method: http.MethodGet, path: "/password", title: "password.title", template: "password.html", open: true, quiet: true, serve: showPassword},
		{method: http.MethodPost, path: "/password", title: "password.title", template: "password.html", open: true, quiet: true, serve: setPassword},
		{method: http.MethodGet, path: "/me/password", title: "password.change", template: "password.html", fresh: true, serve: showChange},
		{method: http.MethodPost, path: "/me/password", title: "password.change", template: "password.html", fresh: true, serve: changePassword},
	}
}

// passwordData is what the form of a new password shows.
type passwordData struct {
	Account, Code, Wrong string
	Own                  bool
	Shortest             int
}

// showPassword asks for the code of a one-time link. It stands in the form and never in the path, which logs keep.
func showPassword(v *view) (any, error) {
	return passwordData{Shortest: password.Shortest}, nil
}

// setPassword spends a one-time code on a password.
func setPassword(v *view) (any, error) {
	d := passwordData{Code: v.form("code"), Shortest: password.Shortest}
	if wait := v.site.slow.take("", v.source); wait > 0 {
		d.Wrong = v.waitText(wait)
		return shown{http.StatusUnprocessableEntity, d}, nil
	}
	link := access.Hash(d.Code)
	a, err := v.site.cfg.Store.OfferedTo(v.ctx(), link)
	if errors.Is(err, store.ErrNotFound) {
		v.noteRefused("code", "", "no such one-time code")
		d.Wrong = v.lang.Text("password.no_code")
		return shown{http.StatusUnprocessableEntity, d}, nil
	}
	if err != nil {
		return nil, err
	}
	v.site.slow.succeeded("", v.source)
	hash, wrong, err := v.newPassword(a.Name)
	if err != nil {
		return nil, err
	}
	if wrong != "" {
		d.Wrong = wrong
		return shown{http.StatusUnprocessableEntity, d}, nil
	}
	if _, err := v.site.cfg.Store.SetPassword(v.ctx(), v.source, link, hash); err != nil {
		return nil, err
	}
	return redirect("/sign-in?done=password-set"), nil
}

// newPassword checks the new password of a form and gives its hash, or what is wrong with it in words.
func (v *view) newPassword(account string) (hash, wrong string, err error) {
	text := v.form("password")
	var fault password.Fault
	switch err := password.Check(text, account); {
	case errors.As(err, &fault):
		return "", v.lang.Text("password.fault_"+string(fault), "n", password.Shortest), nil
	case text != v.form("again"):
		return "", v.lang.Text("password.differ"), nil
	}
	hash, err = v.site.passwords.Hash(v.ctx(), text)
	return hash, "", err
}

func showChange(v *view) (any, error) {
	return passwordData{Account: v.session.Account.Name, Own: true, Shortest: password.Shortest}, nil
}

// changePassword sets the password of the person, who then signs in with it.
func changePassword(v *view) (any, error) {
	hash, wrong, err := v.newPassword(v.session.Account.Name)
	if err != nil {
		return nil, err
	}
	if wrong != "" {
		return shown{http.StatusUnprocessableEntity, passwordData{Account: v.session.Account.Name, Own: true, Shortest: password.Shortest, Wrong: wrong}}, nil
	}
	if err := v.site.cfg.Store.ChangePassword(v.ctx(), v.actor(), v.session.Account.ID, hash); err != nil {
		return nil, err
	}
	v.signedOut()
	return redirect("/sign-in?done=password-set"), nil
}
