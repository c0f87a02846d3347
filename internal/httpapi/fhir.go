package httpapi

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"afterbeam/internal/export/fhir"
	"afterbeam/internal/httpapi/fhirrest"
	"afterbeam/internal/store"
)

// GetProcedureFhir gives all of a procedure as one transaction for a FHIR server.
func (h *handlers) GetProcedureFhir(ctx context.Context, request GetProcedureFhirRequestObject) (GetProcedureFhirResponseObject, error) {
	c, err := h.seen(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	if c.Quality {
		return nil, tell(store.ErrNotFound, "the irradiation was of a test object: there is no patient")
	}
	of, err := h.resources().Gather(ctx, c)
	if err != nil {
		return nil, err
	}
	bundle, err := fhir.Transaction(of)
	if err != nil {
		return nil, fhirrest.Unmet(of, err)
	}
	if err := h.viewed(ctx, "fhir.transaction", fmt.Sprintf("%s/%d", c.ID, of.Version), c.PatientID); err != nil {
		return nil, err
	}
	return transaction{bundle}, nil
}

// transaction is a bundle as an answer.
type transaction struct{ *fhir.Bundle }

// VisitGetProcedureFhirResponse writes it.
func (t transaction) VisitGetProcedureFhirResponse(w http.ResponseWriter) error {
	body, err := json.Marshal(t.Bundle)
	if err != nil {
		return fmt.Errorf("encode bundle: %w", err)
	}
	w.Header().Set("Content-Type", fhirrest.MediaType)
	w.WriteHeader(http.StatusOK)
	_, err = w.Write(body)
	return err
}

// speaksFHIR tells whether a failure of a path is told as an OperationOutcome.
func speaksFHIR(path string) bool {
	return strings.HasPrefix(path, fhirrest.Root+"/") || strings.HasPrefix(path, "/v1/procedures/") && strings.HasSuffix(path, "/fhir")
}

// outcome answers a failed request as FHIR does (R4, http.html).
func (s *Server) outcome(c echo.Context, p Problem, err error) error {
	var own *fhirrest.Refusal
	if !errors.As(err, &own) || own.Outcome == nil {
		own = &fhirrest.Refusal{Outcome: fhir.Outcome("error", issueOf(p.Status), cmp.Or(or(p.Detail), p.Title))}
	}
	told := *own.Outcome
	told.Issue = append([]fhir.Issue{}, told.Issue...)
	told.Issue[0].Diagnostics = "request " + or(p.RequestId)
	body, err := json.Marshal(told)
	if err != nil {
		return fmt.Errorf("encode outcome: %w", err)
	}
	return c.Blob(p.Status, fhirrest.MediaType, body)
}

// issueOf gives the issue type of a status.
func issueOf(status int) string {
	switch status {
	case http.StatusUnauthorized:
		return "login"
	case http.StatusForbidden:
		return "forbidden"
	case http.StatusNotFound:
		return "not-found"
	case http.StatusMethodNotAllowed, http.StatusNotAcceptable, http.StatusUnsupportedMediaType:
		return "not-supported"
	case http.StatusConflict:
		return "conflict"
	case http.StatusRequestEntityTooLarge:
		return "too-long"
	case http.StatusUnprocessableEntity:
		return "business-rule"
	case http.StatusTooManyRequests:
		return "throttled"
	case http.StatusServiceUnavailable:
		return "transient"
	case http.StatusInternalServerError:
		return "exception"
	}
	return "invalid"
}
