package web

import (
	"net/http"
	"net/url"
	"strconv"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
)

func auditPages() []page {
	see := []access.Operation{"listAudit", "verifyAudit"}
	return []page{
		{method: http.MethodGet, path: "/audit", title: "audit.title", template: "audit.html", needs: see, listed: true, serve: func(v *view) (any, error) { return v.audit() }},
		{method: http.MethodPost, path: "/audit/verify", title: "audit.title", template: "audit.html", needs: see, serve: verifyAudit},
	}
}

// auditFilters are the fields by which the record is narrowed.
func auditFilters() []string {
	return []string{"actor", "action", "object", "patient", "outcome", "from", "to"}
}

// auditData is a part of the record of who did and saw what.
type auditData struct {
	httpapi.AuditPage
	Chosen map[string]string
	// Older leads further back, "" at the beginning; Narrowed tells that a filter is set.
	Older    string
	Narrowed bool
	Found    *httpapi.AuditVerification
	Wrong    string
}

// Outcomes are those that can be chosen.
func (auditData) Outcomes() []string { return []string{"done", "begun", "refused", "failed"} }

func (v *view) audit() (any, error) {
	d := auditData{Chosen: map[string]string{}}
	q := url.Values{"newest": {"true"}}
	for _, name := range auditFilters() {
		if value := v.query(name); value != "" {
			d.Chosen[name], d.Narrowed = value, true
			q.Set(name, value)
		}
	}
	if after := v.query("after"); after != "" {
		q.Set("after", after)
	}
	var err error
	d.AuditPage, err = ask[httpapi.AuditPage](v, http.MethodGet, "/v1/audit?"+q.Encode(), nil)
	if err != nil && statusOf(err) == http.StatusBadRequest {
		d.Wrong = v.lang.Text("cases.wrong")
		return shown{http.StatusUnprocessableEntity, d}, nil
	}
	if d.Next != nil {
		q.Del("newest")
		q.Set("after", strconv.FormatInt(*d.Next, 10))
		d.Older = "/audit?" + q.Encode()
	}
	return d, err
}

// verifyAudit walks the whole chain, and shows what was found above the newest records.
func verifyAudit(v *view) (any, error) {
	found, err := ask[httpapi.AuditVerification](v, http.MethodGet, "/v1/audit/verification", nil)
	if err != nil {
		return nil, err
	}
	d, err := v.audit()
	if list, ok := d.(auditData); ok {
		list.Found = &found
		return list, err
	}
	return d, err
}
