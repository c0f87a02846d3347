package web

import (
	"net/http"
	"slices"
	"time"
)

// The cookies of how pages look. They say nothing of the person.
const (
	themeCookie    = "afterbeam-theme"
	languageCookie = "afterbeam-language"
)

func themes() []string { return []string{"light", "dark"} }

func (s *Site) lookPages() []page {
	return []page{
		{method: http.MethodGet, path: "/", serve: func(v *view) (any, error) { return redirect(v.site.landing(v.grant)), nil }},
		{method: http.MethodPost, path: "/look", open: true, quiet: true, serve: setLook},
	}
}

// setLook keeps the theme or the language that a person chose.
func setLook(v *view) (any, error) {
	if theme := v.form("theme"); theme != "" {
		if !slices.Contains(themes(), theme) {
			theme = ""
		}
		v.keep(themeCookie, theme)
	}
	if tag := v.form("language"); v.site.book.Has(tag) {
		v.keep(languageCookie, tag)
	}
	if from := local(v.form("from")); from != "" {
		return redirect(from), nil
	}
	return redirect("/"), nil
}

// keep sets a cookie of the look for a year, or takes it away.
func (v *view) keep(name, value string) {
	age := int((365 * 24 * time.Hour).Seconds())
	if value == "" {
		age = -1
	}
	v.setCookie(name, value, age)
}

// setCookie sets a cookie that scripts do not read and other sites do not send with a form. It is bound to HTTPS where that is
// how browsers come.
func (v *view) setCookie(name, value string, age int) {
	http.SetCookie(v.c.Response(), &http.Cookie{ //nolint:gosec // without HTTPS only this machine is served
		Name: name, Value: value, Path: "/", MaxAge: age, HttpOnly: true, SameSite: http.SameSiteLaxMode, Secure: v.site.cfg.Secure,
	})
}

func themeOf(r *http.Request) string {
	if c, err := r.Cookie(themeCookie); err == nil && slices.Contains(themes(), c.Value) {
		return c.Value
	}
	return ""
}

func (s *Site) languageOf(r *http.Request) string {
	if c, err := r.Cookie(languageCookie); err == nil && s.book.Has(c.Value) {
		return c.Value
	}
	return s.book.Prefer(r.Header.Get("Accept-Language"))
}
