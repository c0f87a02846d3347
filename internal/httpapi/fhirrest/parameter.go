package fhirrest

import (
	"fmt"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"afterbeam/internal/store"
)

// parameter is what a search takes.
type parameter struct {
	name, kind, text string
	// secret ones name a patient: they come in a body alone.
	secret bool
	// many tells that it may come more than once.
	many bool
}

// param is the name without its modifier, as a CapabilityStatement lists it.
func (p parameter) param() string {
	name, _, _ := strings.Cut(p.name, ":")
	return name
}

// control are the parameters of every search, which are no search parameters of a resource.
func control() []parameter {
	return []parameter{{name: "_format", text: "json"}}
}

func paging() []parameter {
	return append(control(), parameter{name: "_count", text: "1 to 100 resources on a page"}, parameter{name: "_cursor", text: "from the link next"})
}

func observationParameters(body bool) []parameter {
	all := []parameter{
		{name: "_id", kind: "token", text: "The id of an Observation."},
		{name: "code", kind: "token", text: "With or without system; several are separated by commas."},
		{name: "patient", kind: "reference", text: "Patient/ and the id of a record here; records that are linked to it count as the same. " +
			"patient:identifier, the number alone, in the body of POST to _search."},
		{name: "date", kind: "date", text: "Local days of irradiation, of the precision of a day, month or year; eq, ge, gt, sa, le, lt, eb.", many: true},
		{name: "device", kind: "reference", text: "Device/ and the id of a device here."},
		{name: "part-of:identifier", kind: "reference", text: "With the modifier identifier alone: the study instance UID, with or without the system urn:dicom:uid."},
	}
	if body {
		all = append(all, parameter{name: "patient:identifier", kind: "reference", secret: true})
	}
	return append(all, paging()...)
}

func deviceParameters() []parameter {
	return append([]parameter{
		{name: "identifier", kind: "token", text: "Serial number or UID, with or without system."},
		{name: "_id", kind: "token", text: "The id of a device here."},
	}, control()...)
}

func patientParameters() []parameter {
	return append([]parameter{{name: "identifier", kind: "token", text: "The patient's number, without a system.", secret: true}}, control()...)
}

// asked is a search as it was asked for.
type asked struct {
	url.Values
	path string
	r    *http.Request
}

// read takes the parameters from the URL, or from the body of a POST, whose URL has none. A parameter that is not known is
// refused: a search without it would find more than was asked for.
func read(r *http.Request, path string, takes []parameter) (asked, error) {
	a := asked{path: path, r: r}
	query, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil {
		return a, refuse(store.ErrInvalid, "the query is not well formed")
	}
	if r.Method == http.MethodPost {
		if len(query) > 0 {
			return a, refuse(store.ErrInvalid, "a POST to _search has its parameters in the body and none in the URL")
		}
		if query, err = form(r); err != nil {
			return a, err
		}
	} else if r.ContentLength != 0 {
		return a, refuse(store.ErrInvalid, "a search by GET takes no body")
	}
	for name, values := range query {
		i := slices.IndexFunc(takes, func(p parameter) bool { return p.name == name })
		switch {
		case i < 0 && slices.Contains([]string{"patient:identifier", "patient.identifier", "subject:identifier", "subject.identifier"}, name) && r.Method == http.MethodGet:
			return a, refuse(store.ErrInvalid, "an identifier of a patient never stands in a URL: POST to _search with patient:identifier in the body")
		case i < 0:
			return a, refuse(store.ErrInvalid, "a parameter is not known here; known are "+names(takes))
		case len(values) > 1 && !takes[i].many:
			return a, refuse(store.ErrInvalid, "parameter "+takes[i].name+" is given more than once")
		case slices.Contains(values, ""):
			return a, refuse(store.ErrInvalid, "parameter "+takes[i].name+" is empty")
		}
	}
	a.Values = query
	return a, nil
}

func names(takes []parameter) string {
	all := make([]string, len(takes))
	for i, p := range takes {
		all[i] = p.name
	}
	return strings.Join(all, ", ")
}

// form reads the body of a POST to _search; its size is bounded before.
func form(r *http.Request) (url.Values, error) {
	media, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || media != "application/x-www-form-urlencoded" {
		return nil, refuse(ErrMediaType, "a POST to _search wants a body of application/x-www-form-urlencoded")
	}
	if err := r.ParseForm(); err != nil {
		return nil, fmt.Errorf("%w: body", err)
	}
	return r.PostForm, nil
}

// token takes a value apart into system and code; without a bar the system is any.
func token(value string) (system, code string, anySystem bool) {
	system, code, found := strings.Cut(value, "|")
	if !found {
		return "", value, true
	}
	return system, code, false
}

// id takes the name of the resource off a reference of this server.
func id(value, resource string) (string, error) {
	value = strings.TrimPrefix(value, resource+"/")
	if value == "" || strings.ContainsAny(value, "/:,|") {
		return "", refuse(store.ErrInvalid, "a reference wants "+resource+"/ and the id of one record here")
	}
	return value, nil
}

// Sizes of pages.
const (
	usualCount = 20
	mostCount  = 100
)

func (a asked) count() (int, error) {
	if !a.Has("_count") {
		return usualCount, nil
	}
	n, err := strconv.Atoi(a.Get("_count"))
	if err != nil || n < 1 || n > mostCount {
		return 0, refuse(store.ErrInvalid, fmt.Sprintf("parameter _count wants a number from 1 to %d", mostCount))
	}
	return n, nil
}

// days turns the parameter date into the first and the last local day, "" for no bound.
func (a asked) days() (from, to string, err error) {
	for _, value := range a.Values["date"] {
		prefix := "eq"
		if len(value) > 2 && value[0] >= 'a' && value[0] <= 'z' {
			prefix, value = value[:2], value[2:]
		}
		first, last, ok := span(value)
		if !ok {
			return "", "", refuse(store.ErrInvalid, "parameter date wants a day like 2026-09-14, a month or a year, after eq, ge, gt, sa, le, lt or eb")
		}
		var low, high string
		switch prefix {
		case "eq":
			low, high = first.Format(time.DateOnly), last.Format(time.DateOnly)
		case "ge":
			low = first.Format(time.DateOnly)
		case "gt", "sa":
			low = last.AddDate(0, 0, 1).Format(time.DateOnly)
		case "le":
			high = last.Format(time.DateOnly)
		case "lt", "eb":
			high = first.AddDate(0, 0, -1).Format(time.DateOnly)
		default:
			return "", "", refuse(store.ErrInvalid, "parameter date takes eq, ge, gt, sa, le, lt or eb")
		}
		from = max(from, low)
		if high != "" && (to == "" || high < to) {
			to = high
		}
	}
	return from, to, nil
}

// span gives the first and the last day of a day, a month or a year.
func span(value string) (first, last time.Time, ok bool) {
	for _, form := range []struct {
		layout      string
		years, more int // how long it is: years and months
		day         int
	}{{time.DateOnly, 0, 0, 1}, {"2006-01", 0, 1, 0}, {"2006", 1, 0, 0}} {
		if t, err := time.Parse(form.layout, value); err == nil && len(value) == len(form.layout) {
			return t, t.AddDate(form.years, form.more, form.day).AddDate(0, 0, -1), true
		}
	}
	return first, last, false
}
