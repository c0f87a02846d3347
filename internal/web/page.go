package web

import (
	"bytes"
	"errors"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"afterbeam/internal/access"
	"afterbeam/internal/audit"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/store"
)

// page is one page, or what a form of a page does.
type page struct {
	method, path string
	// title is the key of the title: of the heading, of the window and of the entry in the navigation.
	title string
	// template is a file of templates/; "" for what only redirects or answers bytes.
	template string
	// needs are the operations that it asks. Who may not call all of them does not see it.
	needs []access.Operation
	// listed puts it into the navigation.
	listed bool
	// group is the key of the menu in which the navigation lists it, "" for its first line.
	group string
	// open needs nobody signed in.
	open bool
	// fresh wants a person who has just proven who it is, for what would help a thief of a session.
	fresh bool
	// quiet does not count as use of the session.
	quiet bool
	// scripts are files of static/ beside the one of every page.
	scripts []string
	// serve gives the data of the template, or a redirect, shown or bytes.
	serve func(*view) (any, error)
}

// redirect is a result: another page instead.
type redirect string

// shown is a result: the template with a status other than 200.
type shown struct {
	status int
	data   any
}

// raw is a result: bytes as they are, which a browser neither sniffs nor runs.
type raw struct {
	contentType string
	body        []byte
}

// sent is a result: the answer is written already.
type sent struct{}

// serve answers the requests of one page.
func (s *Site) serve(p page) echo.HandlerFunc {
	return func(c echo.Context) error {
		v := s.newView(c, p)
		setHeaders(c.Response().Header(), s.cfg.Secure)
		result, err := v.result()
		if err == nil {
			err = v.send(result)
		}
		if err == nil {
			return nil
		}
		return v.fail(err)
	}
}

// result asks who is there and what the person may, and then the page.
func (v *view) result() (any, error) {
	r := v.c.Request()
	if err := v.site.origin.Check(r); err != nil {
		return nil, &failure{status: http.StatusForbidden, key: "failed.origin"}
	}
	if err := r.ParseForm(); err != nil {
		return nil, &failure{status: http.StatusBadRequest}
	}
	err := v.identify()
	switch {
	case errors.Is(err, errSessionOver) && v.page.open:
		return v.page.serve(v)
	case errors.Is(err, errSessionOver) && r.Method == http.MethodGet:
		return redirect("/sign-in?next=" + escape(r.URL.RequestURI())), nil
	case errors.Is(err, errSessionOver):
		return nil, &failure{status: http.StatusUnauthorized, key: "failed.over"}
	case err != nil:
		return nil, err
	}
	for _, op := range v.page.needs {
		if err := v.grant.May(op); err != nil {
			record := audit.Record{Action: "request.refuse", Object: string(op), Outcome: "refused", Reason: access.ErrForbidden.Error()}
			return nil, errors.Join(&failure{status: http.StatusForbidden}, v.site.cfg.Store.Note(r.Context(), v.actor(), record))
		}
	}
	if v.page.fresh && !v.isFresh() {
		return redirect("/confirm?next=" + escape(v.back())), nil
	}
	return v.page.serve(v)
}

// back gives the page to return to after proving once more who one is: a form's own page, since what it sent is not
// repeated.
func (v *view) back() string {
	if v.c.Request().Method == http.MethodGet {
		return v.c.Request().URL.RequestURI()
	}
	if from := local(v.form("from")); from != "" {
		return from
	}
	return "/"
}

// send writes a result.
func (v *view) send(result any) error {
	status, data := http.StatusOK, result
	switch one := result.(type) {
	case sent:
		return nil
	case redirect:
		return v.c.Redirect(http.StatusSeeOther, string(one))
	case raw:
		return v.c.Blob(http.StatusOK, one.contentType, one.body)
	case shown:
		status, data = one.status, one.data
	}
	return v.render(status, v.page.template, v.page.title, data)
}

func (v *view) render(status int, file, title string, data any) error {
	var out bytes.Buffer
	f := v.frame(title, data)
	if err := v.site.templates[file].ExecuteTemplate(&out, "layout", f); err != nil {
		return err
	}
	return v.c.HTMLBlob(status, out.Bytes())
}

// failure is what a page answers instead of its data.
type failure struct {
	status    int
	key       string // of a text of its own
	detail    string // what the interface said
	requestID string
}

func (f *failure) Error() string { return http.StatusText(f.status) + ": " + f.detail }

// statusOf gives the status of an error that a page met.
func statusOf(err error) int {
	var own *failure
	if errors.As(err, &own) {
		return own.status
	}
	for kind, status := range map[error]int{
		store.ErrNotFound: http.StatusNotFound, store.ErrConflict: http.StatusConflict, store.ErrInvalid: http.StatusBadRequest,
		store.ErrUnavailable: http.StatusServiceUnavailable, store.ErrFatal: http.StatusServiceUnavailable,
	} {
		if errors.Is(err, kind) {
			return status
		}
	}
	return http.StatusInternalServerError
}

// failedData is what the page of a failure shows.
type failedData struct {
	Status           int
	Text, Detail, ID string
	SignIn           bool
}

const failedTemplate = "failed.html"

// fail answers with a page that says what went wrong. What is our own fault also goes to the log.
func (v *view) fail(err error) error {
	status := statusOf(err)
	var own *failure
	errors.As(err, &own)
	data := failedData{Status: status, ID: v.requestID, SignIn: status == http.StatusUnauthorized}
	if own != nil {
		data.Detail = own.detail
		if own.requestID != "" {
			data.ID = own.requestID
		}
		if own.key != "" {
			data.Text = v.lang.Text(own.key)
		}
	}
	if data.Text == "" {
		data.Text = v.lang.Text(failedKey(v, status))
	}
	if v.c.Response().Committed {
		return err
	}
	if e := v.render(status, failedTemplate, "failed.title", data); e != nil {
		return errors.Join(err, e)
	}
	if status >= http.StatusInternalServerError {
		return err // to the log
	}
	return nil
}

// failedKey gives the key of the text of a status.
func failedKey(v *view, status int) string {
	key := "failed.s" + strings.TrimSpace(http.StatusText(status))
	key = strings.ToLower(strings.ReplaceAll(key, " ", "_"))
	if v.lang.Has(key) {
		return key
	}
	return "failed.other"
}

// failed answers what the checks before the pages refuse: too many requests, a path that there is not, a panic.
func (s *Site) failed(c echo.Context, p httpapi.Problem) error {
	v := s.newView(c, page{open: true, quiet: true})
	// The navigation is left out where the person is not known; why does not matter here.
	_ = v.identify()
	setHeaders(c.Response().Header(), s.cfg.Secure)
	f := &failure{status: p.Status}
	if p.RequestId != nil {
		f.requestID = *p.RequestId
	}
	if err := v.fail(f); err != nil && !errors.Is(err, f) {
		return err
	}
	return nil
}
