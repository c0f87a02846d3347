package httpapi_test

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/demo"
	"afterbeam/internal/export/casejson"
	"afterbeam/internal/export/fhir"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/httpapi/fhirrest"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/physics/effective"
	"afterbeam/internal/physics/organ"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// template is an assessed procedure of the demonstration, of which tests make theirs.
var template = sync.OnceValue(func() assessment.Assessment {
	m := assessment.Default()
	m.MaxPatch = 40 // coarse and of few events: the digits are not the matter here
	report := demo.Cases()[0].Report
	report.Events = report.Events[:2]
	return m.Assess(procedure.Merge([]procedure.Report{report})[0], procedure.Facts{})
})

// resourced makes a procedure in the room whose body and result are whole, of a device in the registry.
func (r *rig) resourced(room string, i store.Identity, change func(*assessment.Assessment)) store.Case {
	r.t.Helper()
	a := template()
	a.Procedure.Persons = []procedure.Person{{ID: "OP-1", Name: "Operator^One", RoleInProcedure: procedure.Code{Value: "113850", Scheme: "DCM"}}}
	if change != nil {
		change(&a)
	}
	ctx := context.Background()
	got := r.receipt("")
	n := fmt.Sprint(r.cases)
	a.Procedure.StudyUID, a.Procedure.DeviceKey, a.Procedure.Device.UID, a.Procedure.Device.Room = got.StudyUID, "2.25.900."+n, "2.25.900."+n, room
	require.NoError(r.t, r.db.SaveReport(ctx, r.lease(store.JobRead), store.Report{
		ReceiptID: got.ID, SOPInstance: "2.25.1" + n, DataSetDigest: "d" + n, ContentDigest: "c" + n, StudyUID: got.StudyUID, DeviceKey: a.Procedure.DeviceKey,
		ContentAt: r.clock.Now(), Body: []byte("{}"), Day: "2026-09-14", Equipment: store.Equipment{UID: "2.25.900." + n, Serial: "S" + n, Name: "C-arm " + n, Room: room, Software: "1.0"},
	}, i))
	reports, err := r.db.ReportsOfStudy(ctx, got.StudyUID)
	require.NoError(r.t, err)
	return r.keptVersion(r.lease(store.JobAssess), a, store.Case{
		StudyUID: got.StudyUID, DeviceKey: a.Procedure.DeviceKey, PatientID: reports[0].PatientID, Room: room, State: a.Procedure.State.String(),
		Start: r.clock.Now().Add(time.Duration(r.cases) * time.Minute), LocalDate: "2026-09-14", Class: "evar", FlagState: "below",
		Quality: a.Procedure.Purpose == procedure.PurposeQualityControl,
	}, "first")
}

func (r *rig) keptVersion(j store.Job, a assessment.Assessment, c store.Case, digest string) store.Case {
	r.t.Helper()
	body, err := archive.Procedure(archive.Case{Procedure: a.Procedure})
	require.NoError(r.t, err)
	result, err := casejson.Marshal(a)
	require.NoError(r.t, err)
	ids, err := r.db.SaveAssessment(context.Background(), j, []store.Version{{Case: c, Methods: "test", Digest: digest, Change: digest, Summary: result, Body: body}})
	require.NoError(r.t, err)
	saved, err := r.db.Case(context.Background(), ids[0])
	require.NoError(r.t, err)
	return saved
}

// fhirMatrix are the rows of the operations of FHIR.
func fhirMatrix() map[string]expectation {
	resource := func(path string) func(*rig, string) (string, string, []string) {
		return func(r *rig, room string) (string, string, []string) {
			return fmt.Sprintf(path, r.resourced(room, strangerIdentity(r), nil).ID), "", nil
		}
	}
	form := []string{"Content-Type", "application/x-www-form-urlencoded"}
	return map[string]expectation{
		"GET /v1/procedures/:id/fhir": {roles: "po", scope: inRoom, ask: resource("/v1/procedures/%s/fhir"), ok: 200},
		"GET /fhir/metadata":          {roles: "poqaus", ask: at("/fhir/metadata"), ok: 200},
		"GET /fhir/Observation/:id":   {roles: "po", scope: inRoom, ask: resource("/fhir/Observation/%s.summary"), ok: 200},
		"GET /fhir/Composition/:id":   {roles: "po", scope: inRoom, ask: resource("/fhir/Composition/%s.report"), ok: 200},
		"GET /fhir/Provenance/:id": {roles: "po", scope: inRoom, ask: func(r *rig, room string) (string, string, []string) {
			c := r.resourced(room, strangerIdentity(r), func(a *assessment.Assessment) { a.Procedure.State = procedure.Amended })
			return "/fhir/Provenance/" + c.ID + ".provenance", "", nil
		}, ok: 200},
		"GET /fhir/Observation": {roles: "po", scope: listed, ask: func(r *rig, room string) (string, string, []string) {
			return "/fhir/Observation?_count=1&patient=" + r.resourced(room, strangerIdentity(r), nil).PatientID, "", nil
		}, ok: 200},
		"POST /fhir/Observation/_search": {roles: "po", scope: listed, ask: func(r *rig, room string) (string, string, []string) {
			i := strangerIdentity(r)
			r.resourced(room, i, nil)
			return "/fhir/Observation/_search", url.Values{"patient:identifier": {i.Number}}.Encode(), form
		}, ok: 200},
		"GET /fhir/Device":     {roles: "poqa", scope: listed, ask: devicePath("/fhir/Device"), ok: 200},
		"GET /fhir/Device/:id": {roles: "poqa", scope: inRoom, ask: devicePath("/fhir/Device/%s"), ok: 200},
		"GET /fhir/Patient/:id": {roles: "po", scope: inRoom, ask: func(r *rig, room string) (string, string, []string) {
			return "/fhir/Patient/" + r.stranger(room).PatientID, "", nil
		}, ok: 200},
		"POST /fhir/Patient/_search": {roles: "po", scope: listed, ask: func(r *rig, room string) (string, string, []string) {
			i := strangerIdentity(r)
			r.procedureOf(room, i)
			return "/fhir/Patient/_search", url.Values{"identifier": {i.Number}}.Encode(), form
		}, ok: 200},
	}
}

func strangerIdentity(r *rig) store.Identity {
	return store.Identity{Number: fmt.Sprintf("F-%d", r.cases), Issuer: "TEST"}
}

// found is the answer of a search.
type found struct {
	Link []struct {
		Relation, URL string
	}
	Entry []struct {
		FullURL  string
		Resource struct {
			ResourceType, ID, Status string
			Meta                     struct{ VersionID string }
			Issue                    []struct{ Code string }
		}
		Search struct{ Mode string }
	}
}

func (f found) ids() []string {
	ids := []string{}
	for _, e := range f.Entry {
		if e.Search.Mode == "match" {
			ids = append(ids, e.Resource.ID)
		}
	}
	return ids
}

func (f found) next() string {
	for _, l := range f.Link {
		if l.Relation == "next" {
			return l.URL
		}
	}
	return ""
}

func (r *rig) searched(token, path string) found {
	r.t.Helper()
	a := r.ask("GET", path, token, "")
	require.Equal(r.t, 200, a.status, string(a.body))
	var f found
	a.into(r.t, &f)
	return f
}

func (r *rig) posted(token, path string, v url.Values) answer {
	r.t.Helper()
	return r.ask("POST", path, token, v.Encode(), "Content-Type", "application/x-www-form-urlencoded")
}

// issue reads the code of the first issue of an OperationOutcome.
func (r *rig) issue(a answer) (code, text string) {
	r.t.Helper()
	var o fhir.OperationOutcome
	a.into(r.t, &o)
	require.Equal(r.t, "OperationOutcome", o.Type, string(a.body))
	require.NotEmpty(r.t, o.Issue)
	require.NotNil(r.t, o.Issue[0].Details)
	assert.Equal(r.t, "request "+a.header.Get("X-Request-Id"), o.Issue[0].Diagnostics)
	for _, secret := range planted() {
		assert.NotContains(r.t, string(a.body), secret, "an outcome names a patient")
	}
	return o.Issue[0].Code, o.Issue[0].Details.Text
}

func TestFHIRPagesAreStable(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	for range 7 {
		r.resourced(own, identity(), nil)
	}
	whole := r.searched(token, "/fhir/Observation?_count=100").ids()
	require.Len(t, whole, 21, "a summary, a peak and an effective dose each; organ doses are not computed")
	for _, count := range []int{1, 2, 4, 20} {
		var all []string
		next := fmt.Sprintf("/fhir/Observation?_count=%d", count)
		for pages := 0; next != ""; pages++ {
			require.Less(t, pages, 30)
			f := r.searched(token, strings.TrimPrefix(next, "http://example.com"))
			assert.LessOrEqual(t, len(f.ids()), count)
			all = append(all, f.ids()...)
			if len(all) == 2*count {
				r.resourced(own, strangerIdentity(r), nil) // a newer one comes meanwhile: it is on no later page
			}
			next = f.next()
		}
		assert.Equal(t, whole, all[len(all)-len(whole):], "%d on a page", count)
		whole = r.searched(token, "/fhir/Observation?_count=100").ids()
	}
}

func TestFHIRSearch(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	first := r.resourced(own, identity(), nil)
	second := r.resourced(other, strangerIdentity(r), nil)
	quality := r.resourced(own, strangerIdentity(r), func(a *assessment.Assessment) { a.Procedure.Purpose = procedure.PurposeQualityControl })
	devices := r.searched(token, "/fhir/Device?identifier=urn:dicom:uid%7Curn:oid:"+first.DeviceKey).ids()
	require.Len(t, devices, 1)
	both := []string{second.ID + ".summary", first.ID + ".summary"}
	one := both[1:]
	tests := map[string][]string{
		"code=73569-6":                                                           both,
		"code=http://loinc.org%7C73569-6":                                        both,
		"code=http://other.org%7C73569-6":                                        {},
		"code=73569-6&date=2026-09-14":                                           both,
		"code=73569-6&date=ge2026-09":                                            both,
		"code=73569-6&date=gt2026-09-14":                                         {},
		"code=73569-6&date=lt2026-09-14":                                         {},
		"code=73569-6&date=gt2025&date=le2026-09-14":                             both,
		"code=73569-6&patient=" + first.PatientID:                                one,
		"code=73569-6&patient=Patient/" + first.PatientID:                        one,
		"code=73569-6&patient=none":                                              {},
		"code=73569-6&device=Device/" + devices[0]:                               one,
		"code=73569-6&device=none":                                               {},
		"code=73569-6&part-of:identifier=urn:oid:" + first.StudyUID:              one,
		"part-of:identifier=urn:dicom:uid%7C" + first.StudyUID + "&code=73569-6": one,
		"code=113839&patient=" + first.PatientID:                                 {first.ID + ".effective-dose"},
		"code=peak-skin-dose,73569-6&patient=" + first.PatientID:                 {first.ID + ".summary", first.ID + ".peak-skin-dose"},
		"_id=" + first.ID + ".peak-skin-dose":                                    {first.ID + ".peak-skin-dose"},
		"_id=" + first.ID + ".organ-doses":                                       {},
		"_id=" + quality.ID + ".summary":                                         {},
	}
	for query, want := range tests {
		t.Run(query, func(t *testing.T) {
			r.t = t
			assert.Equal(t, want, r.searched(token, "/fhir/Observation?"+query).ids())
		})
	}
	r.t = t
	scoped, _ := r.account(access.Operator, []string{own})
	assert.Equal(t, one, r.searched(scoped, "/fhir/Observation?code=73569-6").ids())
	assert.Equal(t, 404, r.ask("GET", "/fhir/Observation/"+second.ID+".summary", scoped, "").status)
	assert.Equal(t, 404, r.ask("GET", "/fhir/Observation/"+quality.ID+".summary", token, "").status)
	assert.Equal(t, 404, r.ask("GET", "/v1/procedures/"+quality.ID+"/fhir", token, "").status)
}

// TestFHIRIdentifiersStayInBodies searches by the planted number and wants it in no URL, neither asked nor answered.
func TestFHIRIdentifiersStayInBodies(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	c := r.resourced(own, identity(), nil)
	r.resourced(own, identity(), nil)
	before := r.head()
	a := r.posted(token, "/fhir/Observation/_search", url.Values{"patient:identifier": {plantedNumber}, "code": {"73569-6"}, "_count": {"1"}})
	require.Equal(t, 200, a.status, string(a.body))
	var f found
	a.into(t, &f)
	require.Len(t, f.ids(), 1)
	assert.Contains(t, f.next(), "patient=Patient%2F"+c.PatientID)
	for _, l := range f.Link {
		assert.NotContains(t, l.URL, plantedNumber)
	}
	assert.Equal(t, []string{"fhir.search 1 Observations"}, r.actions(before))
	assert.Equal(t, []string{c.ID + ".summary"}, r.searched(token, strings.TrimPrefix(f.next(), "http://example.com")).ids())

	a = r.posted(token, "/fhir/Patient/_search", url.Values{"identifier": {plantedNumber}})
	require.Equal(t, 200, a.status)
	assert.Contains(t, string(a.body), plantedNumber)
	a.into(t, &f)
	assert.NotContains(t, fmt.Sprint(f.Link), plantedNumber)

	for _, query := range []string{"patient:identifier=" + plantedNumber, "patient.identifier=" + plantedNumber} {
		a := r.ask("GET", "/fhir/Observation?"+query, token, "")
		require.Equal(t, 400, a.status)
		_, text := r.issue(a)
		assert.Contains(t, text, "POST to _search")
	}
	assert.Equal(t, 404, r.ask("GET", "/fhir/Patient?identifier="+plantedNumber, token, "").status, "no such search")
	assert.Equal(t, 400, r.posted(token, "/fhir/Observation/_search?code=73569-6", url.Values{"_count": {"1"}}).status, "parameters in the URL of a POST")
	assert.Equal(t, 400, r.posted(token, "/fhir/Patient/_search", url.Values{"identifier": {"urn:oid:1.2|" + plantedNumber}}).status, "a system")
	assert.Equal(t, 400, r.posted(token, "/fhir/Patient/_search", nil).status, "nothing asked")
	assert.Empty(t, func() found {
		var f found
		r.posted(token, "/fhir/Observation/_search", url.Values{"patient:identifier": {"nobody"}}).into(t, &f)
		return f
	}().Entry)
}

func TestFHIRIsNotGuessedWhoItIs(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	a := r.resourced(own, identity(), nil)
	twin := identity()
	twin.Issuer, twin.BirthDate = "ELSEWHERE", "1980-01-01"
	b := r.resourced(own, twin, nil)
	require.NotEqual(t, a.PatientID, b.PatientID)
	got := r.posted(token, "/fhir/Observation/_search", url.Values{"patient:identifier": {plantedNumber}})
	require.Equal(t, 409, got.status)
	code, _ := r.issue(got)
	assert.Equal(t, "multiple-matches", code)
	_, err := r.db.LinkPatients(context.Background(), actor, b.PatientID, a.PatientID, "same person")
	require.NoError(t, err)
	got = r.posted(token, "/fhir/Observation/_search", url.Values{"patient:identifier": {plantedNumber}, "code": {"73569-6"}})
	require.Equal(t, 200, got.status)
	var f found
	got.into(t, &f)
	assert.ElementsMatch(t, []string{a.ID + ".summary", b.ID + ".summary"}, f.ids())
}

func TestFHIRWithoutAnAuthorizingPerson(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	c := r.resourced(own, identity(), func(a *assessment.Assessment) { a.Procedure.Persons = nil })
	for _, path := range []string{"/fhir/Observation/" + c.ID + ".summary", "/fhir/Composition/" + c.ID + ".report", "/v1/procedures/" + c.ID + "/fhir"} {
		a := r.ask("GET", path, token, "")
		require.Equal(t, 422, a.status, path)
		code, text := r.issue(a)
		assert.Equal(t, "business-rule", code)
		assert.Contains(t, text, "no person who authorized the irradiation")
	}
	assert.Equal(t, 200, r.ask("GET", "/fhir/Observation/"+c.ID+".peak-skin-dose", token, "").status, "estimates stand by themselves")
	f := r.searched(token, "/fhir/Observation?patient="+c.PatientID)
	assert.Equal(t, []string{c.ID + ".peak-skin-dose", c.ID + ".effective-dose"}, f.ids())
	last := f.Entry[len(f.Entry)-1]
	assert.Equal(t, "outcome", last.Search.Mode)
	assert.Equal(t, "business-rule", last.Resource.Issue[0].Code)
}

// TestFHIRFollowsTheVersions wants status, versionId and Provenance of each estimate that was told.
func TestFHIRFollowsTheVersions(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	ctx := context.Background()
	read := func(id string) (status, version string, a answer) {
		var o fhir.Observation
		a = r.ask("GET", "/fhir/Observation/"+id, token, "")
		require.Equal(t, 200, a.status, string(a.body))
		a.into(t, &o)
		return o.Status, o.Meta.VersionID, a
	}
	c := r.resourced(own, identity(), func(a *assessment.Assessment) { a.Procedure.State = procedure.Provisional })
	status, version, a := read(c.ID + ".peak-skin-dose")
	assert.Equal(t, []string{"preliminary", "1"}, []string{status, version})
	assert.Equal(t, `W/"1"`, a.header.Get("ETag"))
	assert.Equal(t, 304, r.ask("GET", "/fhir/Observation/"+c.ID+".peak-skin-dose", token, "", "If-None-Match", `W/"0", W/"1"`).status)
	assert.Equal(t, 404, r.ask("GET", "/fhir/Provenance/"+c.ID+".provenance", token, "").status)

	next := func(digest string, state procedure.State) {
		require.NoError(t, r.db.AddFacts(ctx, actor, c.ID, tagOf(t, r, c.ID), []store.Fact{{Name: "height_cm", Value: "171", Source: "chart", Reason: digest}}))
		v, err := r.db.Version(ctx, c.ID, 0)
		require.NoError(t, err)
		kept, err := archive.ReadProcedure(v.Body)
		require.NoError(t, err)
		b := template()
		b.Procedure = kept.Procedure
		b.Procedure.State = state
		v.Case.State = state.String()
		r.keptVersion(r.lease(store.JobAssess), b, v.Case, digest)
	}
	next("second", procedure.Complete)
	status, version, _ = read(c.ID + ".peak-skin-dose")
	assert.Equal(t, []string{"final", "2"}, []string{status, version}, "what was preliminary is final, not amended")
	next("third", procedure.Complete)
	status, version, a = read(c.ID + ".peak-skin-dose")
	assert.Equal(t, []string{"amended", "3"}, []string{status, version})
	assert.Contains(t, string(a.body), plantedNumber, "of whom it is")
	status, _, _ = read(c.ID + ".summary")
	assert.Equal(t, "final", status, "the totals of the equipment are as they were")
	p := r.ask("GET", "/fhir/Provenance/"+c.ID+".provenance", token, "")
	require.Equal(t, 200, p.status)
	assert.Contains(t, string(p.body), "third")
	assert.NotContains(t, string(p.body), ".summary")
}

func tagOf(t *testing.T, r *rig, id string) string {
	t.Helper()
	tag, err := r.db.Tag(context.Background(), id)
	require.NoError(t, err)
	return tag
}

func TestFHIRRefusals(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	c := r.resourced(own, identity(), nil)
	tests := map[string]struct {
		path    string
		headers []string
		status  int
		code    string
	}{
		"no such case":          {"/fhir/Observation/none.summary", nil, 404, "not-found"},
		"no such part":          {"/fhir/Observation/" + c.ID + ".lens", nil, 404, "not-found"},
		"not computed yet":      {"/fhir/Observation/" + c.ID + ".organ-doses", nil, 404, "not-found"},
		"no such type":          {"/fhir/Medication/1", nil, 404, "not-found"},
		"a report by halves":    {"/fhir/Composition/" + c.ID, nil, 404, "not-found"},
		"a parameter of a read": {"/fhir/Observation/" + c.ID + ".summary?_summary=true", nil, 400, "invalid"},
		"unknown parameter":     {"/fhir/Observation?name=x", nil, 400, "invalid"},
		"twice":                 {"/fhir/Observation?code=1&code=2", nil, 400, "invalid"},
		"empty":                 {"/fhir/Observation?code=", nil, 400, "invalid"},
		"a time of day":         {"/fhir/Observation?date=ge2026-09-14T08:00:00Z", nil, 400, "invalid"},
		"an odd prefix":         {"/fhir/Observation?date=ne2026-09-14", nil, 400, "invalid"},
		"no page":               {"/fhir/Observation?_count=0", nil, 400, "invalid"},
		"another's cursor":      {"/fhir/Observation?_cursor=none.summary", nil, 400, "invalid"},
		"a reference elsewhere": {"/fhir/Observation?device=http://example.com/fhir/Device/1", nil, 400, "invalid"},
		"no UID":                {"/fhir/Observation?part-of:identifier=abc", nil, 400, "invalid"},
		"XML":                   {"/fhir/Observation", []string{"Accept", "application/fhir+xml"}, 406, "not-supported"},
		"XML by parameter":      {"/fhir/metadata?_format=xml", nil, 406, "not-supported"},
		"JSON":                  {"/fhir/metadata?_format=json", []string{"Accept", "text/html"}, 200, ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			r.t = t
			a := r.ask("GET", tt.path, token, "", tt.headers...)
			require.Equal(t, tt.status, a.status, string(a.body))
			if tt.code != "" {
				code, _ := r.issue(a)
				assert.Equal(t, tt.code, code)
			}
		})
	}
	r.t = t
	a := r.ask("GET", "/fhir/Observation", "", "")
	assert.Equal(t, 401, a.status)
	code, _ := r.issue(a)
	assert.Equal(t, "login", code)
	a = r.ask("POST", "/fhir/Observation/_search", token, `{}`)
	assert.Equal(t, 415, a.status)
	assert.Equal(t, 404, r.ask("GET", "/v1/procedures/aaaaaaaaaaaaaaaaaaaaaaaa/fhir", token, "").status)
}

// TestFHIRCapabilitiesTellTheTruth compares the statement with the routes, and asks each of them.
func TestFHIRCapabilitiesTellTheTruth(t *testing.T) {
	r := newRig(t, nil)
	var s fhir.CapabilityStatement
	r.ask("GET", "/fhir/metadata", r.physicist(), "").into(t, &s)
	said, there := map[string]bool{}, map[string]bool{}
	for _, one := range s.Rest[0].Resource {
		for _, i := range one.Interaction {
			said[one.Type+" "+i.Code] = true
		}
	}
	for _, route := range r.server.Routes() {
		rest, ours := strings.CutPrefix(route.Path, fhirrest.Root+"/")
		if !ours || rest == "metadata" {
			continue
		}
		kind, more, _ := strings.Cut(rest, "/")
		interaction := map[string]string{"": "search-type", "_search": "search-type", ":id": "read"}[more]
		assert.True(t, said[kind+" "+interaction], route.Path)
		there[kind+" "+interaction] = true
		path := strings.Replace(route.Path, ":id", "x", 1)
		_, _, err := r.router.FindRoute(httptest.NewRequest(route.Method, path, nil))
		assert.NoError(t, err, "the contract describes %s", route.Path)
	}
	assert.Equal(t, there, said, "nothing is said that no route has")
	assert.Equal(t, "4.0.1", s.FHIRVersion)
}

func TestFHIRNumbersAreThoseOfTheInterface(t *testing.T) {
	r := newRig(t, nil)
	c := r.resourced(own, identity(), func(a *assessment.Assessment) {
		a.Procedure.Totals = []procedure.PlaneTotal{{Plane: procedure.PlaneSingle, RefKerma: quantity.Some(quantity.Gray(2.3456)), KAP: quantity.Some(quantity.GraySquareMetre(0.01234567))}}
	})
	a := r.ask("GET", "/v1/procedures/"+c.ID+"/fhir", r.physicist(), "")
	require.Equal(t, http.StatusOK, a.status)
	require.True(t, json.Valid(a.body))
	assert.Contains(t, string(a.body), `"value":2345.6,"unit":"mGy"`)
	assert.Contains(t, string(a.body), `"value":123456.7,"unit":"mGy.cm2"`)
	assert.Contains(t, string(a.body), "Air kerma at the reference point 2.35 Gy")
}

// TestFHIROrgans reads organ doses once they are computed, and wants the view of them in the audit record.
func TestFHIROrgans(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	ctx := context.Background()
	c := r.resourced(own, identity(), nil)
	require.NoError(t, r.db.AddFacts(ctx, actor, c.ID, tagOf(t, r, c.ID), []store.Fact{{Name: "height_cm", Value: "171", Source: "chart", Reason: "size"}}))
	v, err := r.db.Version(ctx, c.ID, 0)
	require.NoError(t, err)
	v.Digest, v.OrganMethods = "second", organ.Version
	_, err = r.db.SaveAssessment(ctx, r.lease(store.JobAssess), []store.Version{v})
	require.NoError(t, err)
	doses, err := json.Marshal(organ.Doses{
		Version: organ.Version, Method: organ.Method, Caution: organ.Caution, Effective: organ.Effective{Weights: effective.ICRP103, Value: 0.0123, Low: 0.01, High: 0.015},
		Organs: []organ.Dose{{Organ: "brain", Value: quantity.Some[quantity.Gray](0.0456), Low: quantity.Some[quantity.Gray](0.03), High: quantity.Some[quantity.Gray](0.07)}},
	})
	require.NoError(t, err)
	require.NoError(t, r.db.SaveOrgans(ctx, r.lease(store.JobOrgans), store.OrganDose{CaseID: c.ID, Version: 2, Methods: organ.Version, Body: doses}))

	assert.Equal(t, []string{c.ID + ".effective-dose", c.ID + ".effective-dose-own-beams"}, r.searched(token, "/fhir/Observation?code=113839").ids(), "each by its method")
	before := r.head()
	a := r.ask("GET", "/fhir/Observation/"+c.ID+".organ-doses", token, "")
	require.Equal(t, 200, a.status, string(a.body))
	assert.Contains(t, string(a.body), `"value":46,"unit":"mGy"`)
	assert.Contains(t, string(a.body), "who is not pregnant")
	assert.Equal(t, []string{"fhir.view Observation/" + c.ID + ".organ-doses"}, r.actions(before))
}
