package web

import (
	"net/http"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
)

func waitingPages() []page {
	see := []access.Operation{"listQuarantine", "listReviews"}
	form := func(path string, op access.Operation, to, done string) page {
		return page{
			method: http.MethodPost, path: path, title: "waiting.title", template: "waiting.html", needs: append(see[:2:2], op),
			serve: func(v *view) (any, error) { return settleWaiting(v, to, done) },
		}
	}
	return []page{
		{method: http.MethodGet, path: "/waiting", title: "waiting.title", template: "waiting.html", needs: see, listed: true, group: "nav.physics", serve: func(v *view) (any, error) { return v.waiting("") }},
		{method: http.MethodGet, path: "/waiting/:id/file", title: "waiting.title", needs: []access.Operation{"getReportFile"}, serve: waitingFile},
		form("/waiting/:id/reread", "rereadQuarantined", "/v1/quarantine/{id}/reread", "reread-asked"),
		form("/waiting/:id/discard", "discardQuarantined", "/v1/quarantine/{id}/discard", "put-aside"),
		form("/waiting/:id/settle", "settleReview", "/v1/reviews/{id}/settle", "identity-settled"),
	}
}

// waitingData is what could not be used and waits for a person: objects, and doubts about who a patient is.
type waitingData struct {
	Objects     []httpapi.Receipt
	NextObjects *string
	Reviews     []httpapi.Review
	NextReviews *string
	SeesFiles   bool
	Wrong       string
}

// perWaiting is how many of each a page shows.
const perWaiting = "50"

func (v *view) waiting(wrong string) (waitingData, error) {
	after := func(name string) string {
		if id := v.query(name); id != "" {
			return "&after=" + escape(id)
		}
		return ""
	}
	d := waitingData{Wrong: wrong, SeesFiles: v.grant.May("getReportFile") == nil}
	objects, err := ask[httpapi.ReceiptPage](v, http.MethodGet, "/v1/quarantine?limit="+perWaiting+after("objects"), nil)
	if err != nil {
		return d, err
	}
	d.Objects, d.NextObjects = objects.Receipts, objects.Next
	reviews, err := ask[httpapi.ReviewPage](v, http.MethodGet, "/v1/reviews?limit="+perWaiting+after("reviews"), nil)
	d.Reviews, d.NextReviews = reviews.Reviews, reviews.Next
	return d, err
}

// settleWaiting does with one of them what a person decided.
func settleWaiting(v *view, to, done string) (any, error) {
	_, err := v.call(http.MethodPost, withID(to, v.param("id")), httpapi.ReasonRequest{Reason: v.text("reason")})
	return v.answered(err, "/waiting?done="+done, func(wrong string) (any, error) { return v.waiting(wrong) })
}

// waitingFile gives the bytes of an object as they came.
func waitingFile(v *view) (any, error) {
	a, err := v.call(http.MethodGet, withID("/v1/receipts/{id}/file", v.param("id")), nil)
	if err != nil {
		return nil, err
	}
	v.c.Response().Header().Set("Content-Disposition", a.Header.Get("Content-Disposition"))
	return raw{"application/octet-stream", a.Body}, nil
}
