package dicomweb_test

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"maps"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi/dicomweb"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// The attributes of the Store Instances Response Module (PS3.18 annex I) and the reasons, written down here a second time.
const (
	retrieveURL = "00081190"
	failed      = "00081198"
	referenced  = "00081199"
	others      = "0008119A"

	kept          = 0 // no reason
	noReport      = 45063
	noResources   = 42752
	mismatch      = 43264
	notUnderstood = 49152
)

// request is one row of the table: what is sent and what must come back.
type request struct {
	name   string
	path   string // "" is /dicomweb/studies
	body   string
	media  string   // "" is multipart/related; type="application/dicom"; boundary=edge
	args   []string // for curl besides
	role   access.Role
	status int
	// keys are the attributes of the answer; none is a problem.
	keys []string
	// reasons are those of the items, by sequence and in order.
	reasons map[string][]int
}

type item map[string]struct {
	VR    string            `json:"vr"`
	Value []json.RawMessage `json:"Value"`
}

// requests is the table of Store requests. The rows are sent in order to one site.
func requests() []request {
	const studies = "/dicomweb/studies"
	report := func(n string) []byte { return file("2.25.1", doseReport, "2.25.1."+n, 0) }
	picture := file("2.25.1", image, "2.25.1.90", 0)
	garbage := bytes.Repeat([]byte("no DICOM "), 100)
	cut := func(b []byte) []byte { return b[:len(b)-30] }
	nameless := file("2.25.1", doseReport, "", 0)
	foreign := bytes.Replace(report("91"), []byte("2.25.1.91"), []byte("2.25.1.99"), 1) // the first is in the file meta
	both := func(more ...string) []string { return append([]string{referenced, retrieveURL}, more...) }
	whole := message(report("50"))
	return []request{
		{name: "a report", body: message(report("1")), status: 200, keys: both(), reasons: map[string][]int{referenced: {kept}}},
		{name: "the same again", body: message(report("1")), status: 200, keys: both(), reasons: map[string][]int{referenced: {kept}}},
		{name: "two reports", body: message(report("2"), report("3")), status: 200, keys: both(), reasons: map[string][]int{referenced: {kept, kept}}},
		{name: "one twice", body: message(report("4"), report("4")), status: 200, keys: both(), reasons: map[string][]int{referenced: {kept, kept}}},
		{name: "of two studies", body: message(report("5"), file("2.25.2", doseReport, "2.25.2.1", 0)), status: 200, keys: []string{referenced}, reasons: map[string][]int{referenced: {kept, kept}}},
		{name: "of the path's study", path: studies + "/2.25.1", body: message(report("6")), status: 200, keys: both(), reasons: map[string][]int{referenced: {kept}}},
		{name: "of another study", path: studies + "/2.25.3", body: message(report("7")), status: 409, keys: []string{failed}, reasons: map[string][]int{failed: {mismatch}}},
		{name: "one of another study", path: studies + "/2.25.1", body: message(report("8"), file("2.25.2", doseReport, "2.25.2.2", 0)), status: 202, keys: both(failed), reasons: map[string][]int{referenced: {kept}, failed: {mismatch}}},
		{name: "an image", body: message(picture), status: 202, keys: []string{referenced}, reasons: map[string][]int{referenced: {noReport}}},
		{name: "the image again", body: message(picture), status: 202, keys: []string{referenced}, reasons: map[string][]int{referenced: {noReport}}},
		{name: "a report and an image", body: message(report("9"), picture), status: 202, keys: both(), reasons: map[string][]int{referenced: {kept, noReport}}},
		{name: "no DICOM", body: message(garbage), status: 400, keys: []string{others}, reasons: map[string][]int{others: {notUnderstood}}},
		{name: "a report and no DICOM", body: message(garbage, report("10")), status: 202, keys: both(others), reasons: map[string][]int{referenced: {kept}, others: {notUnderstood}}},
		{name: "a mixture of reasons", path: studies + "/2.25.3", body: message(garbage, report("11")), status: 409, keys: []string{failed, others}, reasons: map[string][]int{failed: {mismatch}, others: {notUnderstood}}},
		{name: "a report cut short", body: message(cut(report("12"))), status: 202, keys: []string{referenced}, reasons: map[string][]int{referenced: {noReport}}},
		{name: "without an instance UID", body: message(nameless), status: 400, keys: []string{others}, reasons: map[string][]int{others: {notUnderstood}}},
		{name: "file meta of another", body: message(foreign), status: 409, keys: []string{failed}, reasons: map[string][]int{failed: {mismatch}}},
		{name: "too deep", body: message(deep()), status: 400, keys: []string{failed}, reasons: map[string][]int{failed: {notUnderstood}}},
		{name: "an object too large", body: message(file("2.25.1", doseReport, "2.25.1.13", objectLimit)), status: 413, keys: []string{others}, reasons: map[string][]int{others: {notUnderstood}}},
		{name: "a report and one too large", body: message(report("14"), file("2.25.1", doseReport, "2.25.1.15", objectLimit)), status: 202, keys: both(others), reasons: map[string][]int{referenced: {kept}, others: {notUnderstood}}},
		{name: "chunked", body: message(report("16")), args: []string{"-H", "Transfer-Encoding: chunked"}, status: 200, keys: both(), reasons: map[string][]int{referenced: {kept}}},
		{name: "text around the parts", body: "to be ignored\r\n" + message(report("17")) + "also\r\n", status: 200, keys: both(), reasons: map[string][]int{referenced: {kept}}},
		{name: "a part without a type", body: strings.Replace(message(report("18")), "Content-Type: application/dicom\r\n", "", 1), status: 200, keys: both(), reasons: map[string][]int{referenced: {kept}}},
		{name: "a part of text", body: strings.Replace(message(report("19")), "application/dicom", "text/plain", 1), status: 415, keys: []string{others}, reasons: map[string][]int{others: {notUnderstood}}},
		{name: "a report and a part of text", body: strings.Replace(message(report("20"), report("21")), "application/dicom", "text/plain", 1), status: 202, keys: both(others), reasons: map[string][]int{referenced: {kept}, others: {notUnderstood}}},
		{name: "cut after a report", body: message(report("22"), report("23"))[:len(message(report("22")))+200], status: 202, keys: both(others), reasons: map[string][]int{referenced: {kept}, others: {notUnderstood}}},
		{name: "no last boundary", body: strings.TrimSuffix(message(report("24")), lastEdge), status: 400},
		{name: "cut in the first part", body: whole[:200], status: 400},
		{name: "a header that is none", body: strings.Replace(whole, "Content-Type: ", "\x00", 1), status: 400},
		{name: "no part", body: lastEdge, status: 400},
		{name: "no body", body: "", status: 400},
		{name: "another boundary than named", body: whole, media: `multipart/related; type="application/dicom"; boundary=other`, status: 400},
		{name: "no boundary", body: whole, media: `multipart/related; type="application/dicom"`, status: 400},
		{name: "a boundary too long", body: whole, media: `multipart/related; type="application/dicom"; boundary=` + strings.Repeat("x", 71), status: 400},
		{name: "metadata", body: whole, media: `multipart/related; type="application/dicom+json"; boundary=edge`, status: 415},
		{name: "no multipart", body: string(report("51")), media: "application/dicom", status: 415},
		{name: "a form", body: whole, media: "multipart/form-data; boundary=edge", status: 415},
		{name: "no media type", body: whole, media: ";", status: 415},
		{name: "compressed", body: whole, args: []string{"-H", "Content-Encoding: gzip"}, status: 415},
		{name: "no answer that is accepted", body: whole, args: []string{"-H", "Accept: text/html"}, status: 406},
		{name: "a query", path: studies + "?PatientID=1", body: whole, status: 400},
		{name: "no UID in the path", path: studies + "/Hybrid-1", body: whole, status: 400},
		{name: "a token of no use", body: whole, role: "none", status: 401},
		{name: "an operator", body: whole, role: access.Operator, status: 403},
		{name: "larger than a request may be", body: "", args: []string{"-H", "Content-Length: 999999999"}, status: 413},
	}
}

// deep makes a report with more levels than the guard lets through.
func deep() []byte {
	set := dicomio.DataSet{{Tag: 0x0040A010, VR: "CS", Values: []string{"CONTAINS"}}}
	for range dicomio.DefaultLimits().Depth + 1 {
		set = dicomio.DataSet{{Tag: 0x0040A730, VR: "SQ", Items: []dicomio.DataSet{set}}}
	}
	set = append(dicomio.DataSet{
		{Tag: 0x00080016, VR: "UI", Values: []string{doseReport}},
		{Tag: 0x00080018, VR: "UI", Values: []string{"2.25.1.92"}},
		{Tag: 0x0020000D, VR: "UI", Values: []string{"2.25.1"}},
	}, set...)
	var out bytes.Buffer
	if err := dicomio.Write(&out, set, dicomio.ExplicitLittleEndian); err != nil {
		panic(err)
	}
	return out.Bytes()
}

// send sends a row by curl.
func (s *site) send(t *testing.T, r request) (int, http.Header, []byte) {
	t.Helper()
	name := filepath.Join(t.TempDir(), "request")
	require.NoError(t, os.WriteFile(name, []byte(r.body), 0o600))
	if r.path == "" {
		r.path = "/dicomweb/studies"
	}
	if r.media == "" {
		r.media = `multipart/related; type="application/dicom"; boundary=edge`
	}
	if r.role == "" {
		r.role = access.Service
	}
	args := append([]string{"-X", "POST", "--data-binary", "@" + name, "-H", "Content-Type: " + r.media, "-H", "Authorization: Bearer " + s.tokens[r.role]}, r.args...)
	return s.curl(t, r.path, args...)
}

// TestStoreRequests sends every row by curl and compares code, attributes and reasons.
func TestStoreRequests(t *testing.T) {
	s := newSite(t, nil)
	for _, r := range requests() {
		t.Run(r.name, func(t *testing.T) {
			status, header, body := s.send(t, r)
			assert.Equal(t, r.status, status, string(body))
			checkAnswer(t, r, header, body)
		})
	}
	// What was answered as kept is kept, once, and nothing else is.
	all, err := s.db.Instances(t.Context(), store.InstanceFilter{})
	require.NoError(t, err)
	var got []string
	for _, one := range all {
		got = append(got, one.Receipt.SOPInstance)
	}
	slices.Sort(got)
	var want []string
	for _, n := range []string{"1", "2", "3", "4", "5", "6", "8", "9", "10", "14", "16", "17", "18", "21", "22"} {
		want = append(want, "2.25.1."+n)
	}
	want = append(want, "2.25.2.1")
	slices.Sort(want)
	assert.Equal(t, want, got)
	quarantined, err := s.db.Receipts(t.Context(), store.ReceiptQuarantined, "", 100)
	require.NoError(t, err)
	assert.Len(t, quarantined, 2)
	left, err := os.ReadDir(filepath.Join(s.dir, "objects", "arrivals"))
	if !os.IsNotExist(err) {
		require.NoError(t, err)
	}
	assert.Empty(t, left)
}

func checkAnswer(t *testing.T, r request, header http.Header, body []byte) {
	t.Helper()
	if r.keys == nil {
		assert.Equal(t, "application/problem+json", header.Get("Content-Type"))
		return
	}
	assert.Equal(t, "application/dicom+json", header.Get("Content-Type"))
	var answer item
	require.NoError(t, json.Unmarshal(body, &answer), string(body))
	slices.Sort(r.keys)
	assert.Equal(t, r.keys, slices.Sorted(maps.Keys(answer)))
	for _, sequence := range []string{failed, referenced, others} {
		var reasons []int
		for _, raw := range answer[sequence].Value {
			var one item
			require.NoError(t, json.Unmarshal(raw, &one))
			reasons = append(reasons, checkItem(t, sequence, one))
		}
		assert.Equal(t, r.reasons[sequence], reasons, sequence)
	}
}

// checkItem checks the attributes of an item and gives its reason.
func checkItem(t *testing.T, sequence string, one item) int {
	t.Helper()
	keys := slices.Sorted(maps.Keys(one))
	reason, attribute := 0, ""
	switch sequence {
	case others:
		attribute = "00081197"
		assert.Equal(t, []string{attribute}, keys)
	case failed:
		attribute = "00081197"
		assert.Equal(t, []string{"00081150", "00081155", attribute}, keys)
	default:
		if len(keys) == 4 {
			attribute = "00081196"
			assert.Empty(t, one[retrieveURL].Value, "what is in quarantine cannot be retrieved")
		} else {
			assert.Len(t, one[retrieveURL].Value, 1)
		}
		assert.Equal(t, []string{"00081150", "00081155", retrieveURL}, keys[:3])
	}
	if attribute != "" {
		assert.Equal(t, "US", one[attribute].VR)
		require.Len(t, one[attribute].Value, 1)
		require.NoError(t, json.Unmarshal(one[attribute].Value[0], &reason))
	}
	return reason
}

func TestTheAnswerAsXML(t *testing.T) {
	s := newSite(t, nil)
	status, header, body := s.send(t, request{
		body: message(file("2.25.1", doseReport, "2.25.1.1", 0), []byte("none")), args: []string{"-H", "Accept: application/dicom+xml"},
	})
	assert.Equal(t, 202, status)
	assert.Equal(t, "application/dicom+xml", header.Get("Content-Type"))
	var m struct {
		Attributes []struct {
			Tag     string `xml:"tag,attr"`
			Keyword string `xml:"keyword,attr"`
		} `xml:"DicomAttribute"`
	}
	require.NoError(t, xml.Unmarshal(body, &m), string(body))
	require.Len(t, m.Attributes, 3)
	assert.Equal(t, "RetrieveURL", m.Attributes[0].Keyword)
	assert.Equal(t, []string{retrieveURL, referenced, others}, []string{m.Attributes[0].Tag, m.Attributes[1].Tag, m.Attributes[2].Tag})
}

// TestTooManyParts: what came before is kept and said so, and the rest is asked for again.
func TestTooManyParts(t *testing.T) {
	s := newSite(t, nil)
	var body strings.Builder
	part(&body, "application/dicom", file("2.25.1", doseReport, "2.25.1.1", 0))
	for range dicomweb.DefaultMostParts {
		part(&body, "text/plain", nil)
	}
	r := request{body: body.String() + lastEdge, keys: []string{referenced, retrieveURL, others}, reasons: map[string][]int{referenced: {kept}}}
	for range dicomweb.DefaultMostParts - 1 {
		r.reasons[others] = append(r.reasons[others], notUnderstood)
	}
	r.reasons[others] = append(r.reasons[others], noResources)
	status, header, answer := s.send(t, r)
	assert.Equal(t, 202, status)
	checkAnswer(t, r, header, answer)
}
