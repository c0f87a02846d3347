package web

import (
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"
)

// typed is a form as a person filled it in, to show it again when it was refused: nothing that was typed is lost.
type typed struct{ values url.Values }

// Of gives a field.
func (t typed) Of(name string) string { return t.values.Get(name) }

// Or gives a field, or other when the form was not sent.
func (t typed) Or(name, other string) string {
	if !t.values.Has(name) {
		return other
	}
	return t.values.Get(name)
}

// Is tells whether a field has a value.
func (t typed) Is(name, value string) bool { return t.values.Get(name) == value }

func (v *view) typed() typed { return typed{v.c.Request().PostForm} }

// text gives a field of a form without the spaces around it.
func (v *view) text(name string) string { return strings.TrimSpace(v.form(name)) }

// number reads a number with a decimal point or comma.
func number(text string) (float64, error) {
	return strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
}

// optional gives nil for a field that was left empty.
func (v *view) optional(name string) *string {
	if text := v.text(name); text != "" {
		return &text
	}
	return nil
}

// refusal gives why the interface did not take what a form sent, for its page to say so beside it; "" for every other error.
func (v *view) refusal(err error) string {
	var f *failure
	if !errors.As(err, &f) || f.detail == "" {
		return ""
	}
	switch f.status {
	case http.StatusBadRequest, http.StatusConflict, http.StatusForbidden, http.StatusUnprocessableEntity:
		return v.lang.Text("followup.refused", "why", f.detail)
	}
	return ""
}

// answered ends a form: the page it came from when it was kept, the same page with the reason when it was refused.
func (v *view) answered(err error, to string, again func(wrong string) (any, error)) (any, error) {
	if err == nil {
		return redirect(to), nil
	}
	wrong := v.refusal(err)
	if wrong == "" {
		return nil, err
	}
	data, err := again(wrong)
	return shown{http.StatusUnprocessableEntity, data}, err
}
