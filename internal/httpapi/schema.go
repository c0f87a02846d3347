package httpapi

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/labstack/echo/v4"

	"afterbeam/internal/access"
	"afterbeam/internal/store"
	"afterbeam/internal/store/object"
)

// keepReport is the one operation whose body is no JSON.
const keepReport access.Operation = "keepReport"

const (
	mediaDICOM = "application/dicom"
	mediaJSON  = "application/json"
	mediaCSV   = "text/csv"
)

// schema checks the requests of one operation against the contract.
type schema struct {
	route     *routers.Route
	mediaType string   // of the body, "" when there is none
	query     []string // the query parameters there are
	options   *openapi3filter.Options
}

// operations gives every operation of the contract its schema.
func operations(spec *openapi3.T) map[access.Operation]*schema {
	all := map[access.Operation]*schema{}
	for path, item := range spec.Paths.Map() {
		for method, operation := range item.Operations() {
			// Done by authenticate before. The validator would read the whole body for it, before a report has its share
			// of the memory.
			operation.Security = openapi3.NewSecurityRequirements()
			one := &schema{
				route:   &routers.Route{Spec: spec, Path: path, PathItem: item, Method: method, Operation: operation},
				options: &openapi3filter.Options{KeepValidatedValue: true},
			}
			for _, p := range operation.Parameters {
				if p.Value.In == openapi3.ParameterInQuery {
					one.query = append(one.query, p.Value.Name)
				}
			}
			if operation.RequestBody != nil {
				for mediaType := range operation.RequestBody.Value.Content {
					one.mediaType = mediaType
				}
			}
			one.options.ExcludeRequestBody = one.mediaType == mediaDICOM || one.mediaType == mediaCSV
			all[operationName(operation.OperationID)] = one
		}
	}
	return all
}

// operationName gives the name of an operation as the contract has it: the generator's copy of the contract begins it with a
// capital letter.
func operationName(id string) access.Operation {
	return access.Operation(strings.ToLower(id[:1]) + id[1:])
}

// echoPath gives a path of the contract in the router's form.
func echoPath(path string) string {
	return strings.NewReplacer("{", ":", "}", "").Replace(path)
}

// check refuses what the contract does not allow, saying which parameter or property and what is wanted of it, and never
// what was sent.
func (s *schema) check(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		if err := s.checkMediaType(r); err != nil {
			return err
		}
		if err := s.checkWhole(r); err != nil {
			return err
		}
		query, err := s.checkQuery(r)
		if err != nil {
			return err
		}
		input := &openapi3filter.RequestValidationInput{Request: r, PathParams: map[string]string{}, QueryParams: query, Route: s.route, Options: s.options}
		for _, name := range c.ParamNames() {
			input.PathParams[name] = c.Param(name)
		}
		if err := openapi3filter.ValidateRequest(r.Context(), input); err != nil {
			return explain(err)
		}
		return next(c)
	}
}

func (s *schema) checkMediaType(r *http.Request) error {
	if s.mediaType == "" {
		if r.ContentLength != 0 {
			return tell(store.ErrInvalid, "this operation takes no body")
		}
		return nil
	}
	got, params, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || got != s.mediaType {
		return tell(errMediaType, "this operation wants a body of "+s.mediaType)
	}
	callOf(r.Context()).charset = params["charset"]
	if coding := r.Header.Get("Content-Encoding"); coding != "" && coding != "identity" {
		return tell(errMediaType, "this operation wants a body without a content coding")
	}
	return nil
}

// checkWhole refuses a body with anything behind its one value: what reads it later would stop there, and half of what was
// sent would be done.
func (s *schema) checkWhole(r *http.Request) error {
	if s.mediaType != mediaJSON {
		return nil
	}
	body, err := io.ReadAll(r.Body) // it is capped, see capBody
	if err != nil {
		return err
	}
	if len(body) > 0 && !json.Valid(body) {
		return tell(store.ErrInvalid, "the body is not one JSON value")
	}
	r.Body = io.NopCloser(bytes.NewReader(body))
	return nil
}

// checkQuery refuses parameters that are not in the contract: a misspelt filter would show more than was asked for.
func (s *schema) checkQuery(r *http.Request) (url.Values, error) {
	query, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil {
		return nil, tell(store.ErrInvalid, "the query is not well formed")
	}
	for name, values := range query {
		if !slices.Contains(s.query, name) {
			return nil, tell(store.ErrInvalid, "a query parameter is not known here; known are: "+strings.Join(s.query, ", "))
		}
		if len(values) != 1 {
			return nil, tell(store.ErrInvalid, "query parameter "+name+" is given more than once")
		}
	}
	return query, nil
}

// explain turns a failure of the validator into one whose text is ours.
func explain(err error) error {
	for _, kind := range []error{object.ErrTooLarge, errBodySlow, errBodyEnded} {
		if errors.Is(err, kind) {
			return kind
		}
	}
	var request *openapi3filter.RequestError
	if !errors.As(err, &request) {
		return tell(store.ErrInvalid, "the request does not fit the contract")
	}
	where := "body"
	declared := &openapi3.Schema{}
	switch {
	case request.Parameter != nil:
		where = request.Parameter.In + " parameter " + request.Parameter.Name
		declared = request.Parameter.Schema.Value
	case request.RequestBody != nil:
		declared = request.RequestBody.Content["application/json"].Schema.Value
	}
	if errors.Is(err, openapi3filter.ErrInvalidRequired) {
		return tell(store.ErrInvalid, where+" is missing")
	}
	var failed *openapi3.SchemaError
	if !errors.As(err, &failed) {
		return tell(store.ErrInvalid, where+" is not of the wanted form: "+wanted(declared))
	}
	// Only names of the contract are told: any other came from the caller.
	if path := failed.JSONPointer(); len(path) > 0 && declared.Properties[path[0]] != nil {
		where, declared = "property "+path[0], declared.Properties[path[0]].Value
	}
	return tell(store.ErrInvalid, where+" does not fit: wanted "+wanted(declared))
}

// wanted says in words what a schema allows.
func wanted(s *openapi3.Schema) string {
	all := slices.Clone(s.Type.Slice())
	if s.Min != nil {
		all = append(all, fmt.Sprintf("at least %v", *s.Min))
	}
	if s.Max != nil {
		all = append(all, fmt.Sprintf("at most %v", *s.Max))
	}
	if s.MinLength > 0 {
		all = append(all, fmt.Sprintf("%d or more characters", s.MinLength))
	}
	if s.MaxLength != nil {
		all = append(all, fmt.Sprintf("%d or fewer characters", *s.MaxLength))
	}
	if s.Pattern != "" {
		all = append(all, "of the pattern "+s.Pattern)
	}
	for i, value := range s.Enum {
		word := "or "
		if i == 0 {
			word = "one of "
		}
		all = append(all, fmt.Sprintf("%s%v", word, value))
	}
	if len(s.Properties) > 0 {
		names := make([]string, 0, len(s.Properties))
		for name := range s.Properties {
			if slices.Contains(s.Required, name) {
				name += " (required)"
			}
			names = append(names, name)
		}
		slices.Sort(names)
		all = append(all, "with the properties "+strings.Join(names, ", ")+" and no other")
	}
	return strings.Join(all, ", ")
}
