package httpapi_test

import (
	"bytes"
	"context"
	"mime"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/httpapi/dicomweb"
	"afterbeam/internal/store"
)

func TestSearchResults(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	r.instanceOf(own, "2.25.71", "2.25.72", "2.25.73")
	r.instanceOf(own, "2.25.71", "2.25.72", "2.25.74")
	r.instanceOf(other, "2.25.71", "2.25.75", "2.25.76")
	r.instanceOf(own, "2.25.81", "2.25.82", "2.25.83")
	before := r.head()
	studies := models(t, r.ask("GET", "/dicomweb/studies", token, ""))
	assert.Equal(t, []string{"instances.search 2 results"}, r.actions(before))
	require.Len(t, studies, 2)
	s := studies[0]
	assert.Equal(t, "2.25.71", s.first("0020000D"))
	assert.InDelta(t, 2, s.first("00201206"), 0)
	assert.InDelta(t, 3, s.first("00201208"), 0)
	assert.Equal(t, "SR", s.first("00080061"))
	assert.Equal(t, "20260914", s.first("00080020"))
	assert.Equal(t, plantedNumber, s.first("00100020"))
	assert.Equal(t, "ONLINE", s.first("00080056"))
	assert.Equal(t, "http://example.com/dicomweb/studies/2.25.71", s.first("00081190"))
	assert.NotContains(t, s, "0020000E", "no attribute of a lower level")

	series := models(t, r.ask("GET", "/dicomweb/studies/2.25.71/series", token, ""))
	require.Len(t, series, 2)
	assert.InDelta(t, 2, series[0].first("00201209"), 0)
	assert.Equal(t, "SR", series[0].first("00080060"))
	assert.NotContains(t, series[0], "00100010", "the path has named the study")
	instances := models(t, r.ask("GET", "/dicomweb/studies/2.25.71/instances?limit=2&includefield=PatientName,00100020&fuzzymatching=true", token, ""))
	require.Len(t, instances, 2)
	assert.Equal(t, map[string]any{"Alphabetic": plantedName}, instances[0].first("00100010"))
	assert.Equal(t, "http://example.com/dicomweb/studies/2.25.71/series/2.25.72/instances/2.25.73", instances[0].first("00081190"))
	a := r.ask("GET", "/dicomweb/instances?limit=1&offset=3&includefield=all", token, "")
	last := models(t, a)
	require.Len(t, last, 1)
	assert.Equal(t, "2.25.83", last[0].first("00080018"))
	assert.NotContains(t, last[0], "0040A730")
	assert.Empty(t, a.header.Values("Warning"))
}

func TestSearchesOfOthersRoomsAndPages(t *testing.T) {
	r := newRig(t, nil)
	r.instanceOf(own, "2.25.71", "2.25.72", "2.25.73")
	r.instanceOf(other, "2.25.71", "2.25.75", "2.25.76")
	r.instance("") // not read yet
	scoped, _ := r.account(access.Physicist, []string{other})
	mine := models(t, r.ask("GET", "/dicomweb/studies/2.25.71/instances", scoped, ""))
	require.Len(t, mine, 1)
	assert.Equal(t, "2.25.76", mine[0].first("00080018"))
	assert.InDelta(t, 1, models(t, r.ask("GET", "/dicomweb/studies", scoped, ""))[0].first("00201208"), 0)
	before := r.head()
	assert.Equal(t, 404, r.ask("GET", "/dicomweb/studies/2.25.71/series/2.25.72/instances/2.25.73", scoped, "").status)
	assert.Equal(t, []string{"request.refuse retrieveInstance"}, r.actions(before), "a look outside of the rooms is told to the audit record")

	all := r.physicist()
	assert.Len(t, models(t, r.ask("GET", "/dicomweb/instances", all, "")), 3, "with one that waits to be read")
	a := r.ask("GET", "/dicomweb/instances?limit=2&fuzzymatching=true", all, "")
	assert.Len(t, models(t, a), 2)
	require.Len(t, a.header.Values("Warning"), 2)
	assert.Contains(t, a.header.Values("Warning")[0], "additional results")
	assert.Contains(t, a.header.Values("Warning")[1], "literal matching")
}

func TestSearchKeys(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	r.instanceOf(own, "2.25.71", "2.25.72", "2.25.73")
	for query, status := range map[string]int{
		"":                                             200,
		"StudyInstanceUID=2.25.71":                     200,
		"0020000D=2.25.71":                             200,
		"0020000d=2.25.71":                             200,
		"StudyInstanceUID=2.25.7":                      204,
		"StudyInstanceUID=2.25.7,2.25.71":              200,
		`StudyInstanceUID=2.25.7%5C2.25.9`:             204,
		"StudyInstanceUID=":                            200,
		"SeriesInstanceUID=2.25.72":                    200,
		"SOPInstanceUID=2.25.72":                       204,
		"SOPClassUID=" + doseClass:                     200,
		"SOPClassUID=1.2.3":                            204,
		"Modality=SR":                                  200,
		"Modality=CT":                                  204,
		"ModalitiesInStudy=XA,SR":                      200,
		"StudyDate=20260914":                           200,
		"StudyDate=20260913":                           204,
		"StudyDate=20260913-20260914":                  200,
		"StudyDate=-20260914":                          200,
		"StudyDate=20260915-":                          204,
		"offset=1":                                     204,
		"limit=999999":                                 200,
		"includefield=all&includefield=PatientName":    200,
		"StudyDate=2026":                               400,
		"StudyDate=20261301":                           400,
		"StudyDate=-":                                  400,
		"StudyInstanceUID=*":                           400,
		"StudyInstanceUID=1;2":                         400,
		"StudyInstanceUID=2.25.71&StudyInstanceUID=2.": 400,
		"limit=0":                                      400,
		"limit=-1":                                     400,
		"offset=x":                                     400,
		"fuzzymatching=yes":                            400,
		"includefield=NoSuchThing":                     400,
		"includefield=":                                400,
		"includefield=0040A730":                        400,
		"NoSuchKey=1":                                  400,
		"StudyTime=1200":                               400,
		"accept=application/dicom":                     400,
		"StudyInstanceUID.00080100=1":                  400,
		"%zz":                                          400,
	} {
		a := r.ask("GET", "/dicomweb/instances?"+query, token, "")
		assert.Equal(t, status, a.status, query)
	}
	assert.Equal(t, 400, r.ask("GET", "/dicomweb/studies?SOPInstanceUID=2.25.73", token, "").status, "a key of a lower level")
	assert.Equal(t, 204, r.ask("GET", "/dicomweb/studies/2.25.71/instances?StudyInstanceUID=2.25.5", token, "").status)
	assert.Equal(t, 400, r.ask("GET", "/dicomweb/studies/"+plantedName, token, "").status, "no UID")
	assert.Equal(t, 404, r.ask("GET", "/dicomweb/studies/2.25.5", token, "").status)
}

func TestIdentifiersNeverStandInAURL(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	r.instance(own)
	for _, name := range []string{
		"PatientID", "00100020", "PatientName", "PatientBirthDate", "IssuerOfPatientID", "AccessionNumber", "00080050", "StudyID",
		"OtherPatientIDsSequence.PatientID", "RequestAttributesSequence.AccessionNumber", "00400275.00401001",
	} {
		a := r.ask("GET", "/dicomweb/studies?"+url.Values{name: {plantedNumber}}.Encode(), token, "")
		assert.Equal(t, 400, a.status, name)
		var p httpapi.Problem
		a.into(t, &p)
		require.NotNil(t, p.Detail)
		assert.Contains(t, *p.Detail, "POST /v1/patients/search", name)
	}
}

func TestADamagedObjectIsListedAndNotGiven(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	_, _, err := r.db.Accept(context.Background(), actor, store.Arrival{
		Digest: strings.Repeat("ab", 32), SOPClass: doseClass, SOPInstance: "2.25.73", StudyUID: "2.25.71", SeriesUID: "2.25.72",
	})
	require.NoError(t, err)
	found := models(t, r.ask("GET", "/dicomweb/instances", token, ""))
	require.Len(t, found, 1)
	assert.Equal(t, "UNAVAILABLE", found[0].first("00080056"))
	assert.Equal(t, 500, r.ask("GET", "/dicomweb/studies/2.25.71", token, "").status)
	assert.Equal(t, 500, r.ask("GET", "/dicomweb/studies/2.25.71/metadata", token, "").status)
}

// TestFactsNameEveryRoute compares what the conformance statement says with the routes.
func TestFactsNameEveryRoute(t *testing.T) {
	r := newRig(t, nil)
	routes := map[string]bool{}
	for _, one := range r.server.Routes() {
		if strings.HasPrefix(one.Path, dicomweb.Root) {
			routes[one.Method+" "+one.Path] = true
		}
	}
	facts := dicomweb.New(dicomweb.Config{}).Facts()
	for _, s := range facts.Services {
		assert.True(t, routes[s.Method+" "+s.Path], s.Path)
		delete(routes, s.Method+" "+s.Path)
		assert.NotEmpty(t, s.Gives)
		assert.NotEmpty(t, s.Statuses)
		assert.Equal(t, s.Method == "POST", len(s.Takes) > 0)
		path := strings.NewReplacer(":study", "2.25.1", ":series", "2.25.2", ":instance", "2.25.3").Replace(s.Path)
		_, _, err := r.router.FindRoute(httptest.NewRequest(s.Method, path, nil))
		assert.NoError(t, err, "the contract describes %s", s.Path)
	}
	assert.Empty(t, routes)
	assert.Len(t, facts.Reasons, 4)
	assert.Len(t, facts.Keys, 7)
}

func FuzzDICOMwebSearch(f *testing.F) {
	r := newRig(f, nil)
	token := r.physicist()
	r.instance(own)
	for _, query := range []string{"", "limit=1&offset=0", "StudyDate=20260914-", "includefield=all", "PatientID=1", "StudyInstanceUID=1,2", "00080018=1", "a.b=c", "%zz"} {
		f.Add(query)
	}
	f.Fuzz(func(t *testing.T, query string) {
		r.t = t
		for _, path := range []string{"/dicomweb/studies", "/dicomweb/series", "/dicomweb/instances"} {
			request := httptest.NewRequest("GET", path, nil)
			request.URL = &url.URL{Path: path, RawQuery: query}
			request.Header.Set("Authorization", "Bearer "+token)
			assert.Contains(t, []int{200, 204, 400}, r.send(request).status)
		}
	})
}

func FuzzDICOMwebStore(f *testing.F) {
	r := newRig(f, nil)
	token := r.physicist()
	good, _ := related([]byte(doseReport("2.25.701")), []byte(written("2.25.702", image)))
	f.Add([]byte(good), "edge")
	f.Add([]byte(good[:len(good)-9]), "edge")
	f.Add([]byte(good), "other")
	f.Add([]byte("--edge--\r\n"), "edge")
	f.Add([]byte("--edge\r\nContent-Type: text/plain\r\n\r\nx\r\n--edge\r\n"), "edge")
	f.Add([]byte("--edge\nA\n\n"), "edge")
	f.Fuzz(func(t *testing.T, body []byte, boundary string) {
		r.t = t
		request := httptest.NewRequest("POST", "/dicomweb/studies", bytes.NewReader(body))
		request.Header.Set("Authorization", "Bearer "+token)
		request.Header.Set("Content-Type", mime.FormatMediaType("multipart/related", map[string]string{"type": "application/dicom", "boundary": boundary}))
		a := r.send(request)
		assert.Contains(t, []int{200, 202, 400, 409, 413, 415}, a.status)
	})
}
