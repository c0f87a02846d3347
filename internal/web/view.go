package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"

	"github.com/labstack/echo/v4"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/store"
	"afterbeam/internal/wording"
)

// view is one request of a page and the person it is for.
type view struct {
	site              *Site
	page              page
	c                 echo.Context
	lang              wording.Language
	requestID, source string
	session           store.Session // zero while nobody signed in
	grant             access.Grant
}

func (s *Site) newView(c echo.Context, p page) *view {
	v := &view{site: s, page: p, c: c}
	v.requestID, v.source = httpapi.Caller(c.Request().Context())
	v.lang = s.book.In(s.languageOf(c.Request()))
	return v
}

func (v *view) ctx() context.Context { return v.c.Request().Context() }

// signedIn tells whether somebody is.
func (v *view) signedIn() bool { return v.session.ID != "" }

// actor names the person in the audit record, or the address alone.
func (v *view) actor() store.Actor { return v.grant.Actor(v.source) }

// param gives a part of the path, query one of the query, form one of the form.
func (v *view) param(name string) string { return v.c.Param(name) }
func (v *view) query(name string) string { return v.c.QueryParam(name) }
func (v *view) form(name string) string  { return v.c.Request().PostForm.Get(name) }

// ask calls an operation of the HTTP interface for the person and reads its answer: ask[httpapi.ProcedurePage](v, "GET",
// "/v1/procedures?limit=50", nil). A body that is not nil is sent as JSON; headers come in pairs. Whatever is not a success is
// a failure that the page may simply return: it is shown as a page with the interface's own words.
func ask[T any](v *view, method, path string, body any, headers ...string) (T, error) {
	var to T
	a, err := v.call(method, path, body, headers...)
	if err != nil || len(a.Body) == 0 {
		return to, err
	}
	if err := json.Unmarshal(a.Body, &to); err != nil {
		return to, fmt.Errorf("answer of %s %s: %w", method, path, err)
	}
	return to, nil
}

// call is ask for answers that are no JSON, or whose headers matter.
func (v *view) call(method, path string, body any, headers ...string) (httpapi.Answer, error) {
	var sent io.Reader
	if body != nil {
		text, err := json.Marshal(body)
		if err != nil {
			return httpapi.Answer{}, err
		}
		sent = bytes.NewReader(text)
	}
	r, err := http.NewRequestWithContext(v.ctx(), method, path, sent)
	if err != nil {
		return httpapi.Answer{}, fmt.Errorf("%w: path of a page's question: %w", store.ErrInvalid, err)
	}
	if body != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	a := v.site.cfg.API.Inside(r, httpapi.SignedIn{Grant: v.grant, Source: v.source})
	if a.Status < http.StatusBadRequest {
		return a, nil
	}
	f := &failure{status: a.Status}
	var p httpapi.Problem
	if json.Unmarshal(a.Body, &p) == nil {
		if p.Detail != nil {
			f.detail = *p.Detail
		}
		if p.RequestId != nil {
			f.requestID = *p.RequestId
		}
	}
	return a, f
}

func escape(text string) string { return url.QueryEscape(text) }

// local gives a path on this service as it is, and "" for anything else: what comes back from a browser never leads away.
func local(path string) string {
	u, err := url.Parse(path)
	if err != nil || u.Scheme != "" || u.Host != "" || u.User != nil || !strings.HasPrefix(path, "/") ||
		strings.HasPrefix(path, "//") || strings.ContainsAny(path, "\\\r\n\t") {
		return ""
	}
	return path
}
