package httpapi_test

import (
	"bytes"
	"net/http/httptest"
	"net/url"
	"testing"

	"github.com/stretchr/testify/assert"
)

// FuzzKeepReport hands in any bytes under any media type: the answer is one of the contract and never an internal
// failure.
func FuzzKeepReport(f *testing.F) {
	r := newRig(f, nil)
	token := r.physicist()
	report := doseReport("2.25.701")
	f.Add([]byte(report), "application/dicom", "")
	f.Add([]byte(report[:len(report)-9]), "application/dicom; x=y", "identity")
	f.Add([]byte(written("2.25.702", image)), "application/dicom", "gzip")
	f.Add([]byte("{}"), "application/json", "\x00")
	f.Add([]byte(nil), "multipart/related", "")
	f.Fuzz(func(t *testing.T, body []byte, mediaType, coding string) {
		r.t = t
		request := httptest.NewRequest("POST", "/v1/reports", bytes.NewReader(body))
		request.Header.Set("Authorization", "Bearer "+token)
		request.Header.Set("Content-Type", mediaType)
		request.Header.Set("Content-Encoding", coding)
		a := r.send(request)
		assert.Contains(t, []int{200, 201, 202, 400, 413, 415}, a.status)
		if a.status == 201 {
			assert.Equal(t, 200, r.hand(token, string(body)).status, "the same bytes again change nothing")
		}
	})
}

func FuzzSearch(f *testing.F) {
	r := newRig(f, nil)
	token := r.physicist()
	r.procedure(own)
	f.Add([]byte(search(plantedNumber)))
	f.Add([]byte(`{"number":"x"}`))
	f.Add([]byte(`{"number":"\u0000","issuer":null}`))
	f.Add([]byte(`{"number":"a","number":["b"],"Number":1}`))
	f.Add([]byte("\xff\xfe"))
	f.Fuzz(func(t *testing.T, body []byte) {
		r.t = t
		a := r.ask("POST", "/v1/patients/search", token, string(body), "Content-Type", "application/json")
		assert.Contains(t, []int{200, 400, 413}, a.status)
	})
}

func FuzzQuery(f *testing.F) {
	r := newRig(f, nil)
	token := r.physicist()
	r.procedure(own)
	for _, query := range []string{
		"", "limit=1&after=aaaaaaaaaaaaaaaaaaaaaaaa", "room=Hybrid+1&class=evar", "from=2026-09-14&to=2026-09-15", "state=reached", "state=read", "flag=near",
		"limit=99999999999999999999", "after='%20OR%201=1", "room=%00", "room=%ff", "limit=1e1", "limit=+5", "a;b", "%zz", "state=complete&state=amended", "room",
	} {
		f.Add(query)
	}
	f.Fuzz(func(t *testing.T, query string) {
		r.t = t
		for _, path := range []string{"/v1/procedures", "/v1/flags", "/v1/reports", "/v1/quarantine", "/v1/reviews"} {
			request := httptest.NewRequest("GET", path, nil)
			request.URL = &url.URL{Path: path, RawQuery: query}
			request.Header.Set("Authorization", "Bearer "+token)
			assert.Contains(t, []int{200, 400}, r.send(request).status)
		}
	})
}
