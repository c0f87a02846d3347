package httpapi_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/gorillamux"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"afterbeam/internal/access"
	"afterbeam/internal/export/outlook"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/ingest"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
	"afterbeam/internal/upkeep"
	"afterbeam/internal/witness"
)

func TestMain(m *testing.M) {
	openapi3filter.RegisterBodyDecoder("application/dicom+json", openapi3filter.JSONBodyDecoder)
	openapi3filter.RegisterBodyDecoder("application/fhir+json", openapi3filter.JSONBodyDecoder)
	for _, binary := range []string{"application/dicom", "application/dicom+xml", "multipart/related", "image/png", "image/svg+xml", "application/zip", "application/pdf", "text/html"} {
		openapi3filter.RegisterBodyDecoder(binary, openapi3filter.FileBodyDecoder)
	}
	goleak.VerifyTestMain(m)
}

// The rooms of the scenario, and a patient whose identity must come up nowhere but in the answers that are about it.
const (
	own   = "Hybrid 1"
	other = "Cath 2"

	plantedNumber = "PLANTED-7734"
	plantedIssuer = "SALTMARSH"
	plantedName   = "Plantedname^Petra"
	plantedBirth  = "1949-03-07"
)

func planted() []string {
	return []string{plantedNumber, plantedName, "Plantedname", plantedBirth, "19490307"}
}

// rig is the interface over a real store in a folder of its own.
type rig struct {
	t      testing.TB
	db     *store.DB
	server *httpapi.Server
	router routers.Router
	clock  *witness.Clock
	log    *witness.Log
	cfg    httpapi.Config
	cases  int
	looked map[string]store.Receipt // an instance in each room, for requests that only look
}

type maps struct{}

func (maps) Draw(_ context.Context, v store.Version, format string) (string, []byte, error) {
	contentType := map[string]string{"png": "image/png", "svg": "image/svg+xml", "json": "application/json"}[format]
	if format == "json" {
		return contentType, []byte(`{"peak_gy":1.5}`), nil
	}
	return contentType, v.Map, nil
}

// sums is a window of all time alone.
type sums struct{}

func (sums) Sums(_ context.Context, cases []store.Case, asOf string) ([]httpapi.WindowSum, error) {
	w := httpapi.WindowSum{To: asOf, Procedures: len(cases), State: "below"}
	w.Skin = httpapi.MappedSkin{Value: quantity.Some[quantity.Gray](4), Flagged: "mapped", Place: skindose.Place{Region: "back"}}
	for _, c := range cases {
		w.Skin.Shares = append(w.Skin.Shares, httpapi.CaseShare{CaseID: c.ID, Dose: 4 / quantity.Gray(len(cases)), Share: 1 / float64(len(cases))})
		if v, ok := c.Kerma.Get(); ok {
			w.Kerma = quantity.Some(w.Kerma.Or(0) + v)
			w.KermaFrom++
		}
	}
	return []httpapi.WindowSum{{Days: 60, From: "2026-07-17", To: asOf, State: "none", Skin: httpapi.MappedSkin{Flagged: "none"}}, w}, nil
}

// plans answers with what was asked, and fails as it is told to.
type plans struct{ err error }

func (p plans) Plan(_ context.Context, cases []store.Case, ask outlook.Ask) (outlook.Document, error) {
	doc := outlook.Document{Caution: outlook.Caution, Earlier: outlook.Earlier{Procedures: len(cases)}, Beams: []outlook.Beam{}, Notes: []string{}, Assumptions: []string{ask.Place}}
	for _, b := range ask.Beams {
		doc.Beams = append(doc.Beams, outlook.Beam{Direction: b.Direction, KermaGy: b.Kerma})
	}
	if ask.Grid > 0 {
		doc.Grid = &outlook.Grid{
			KermaGy: ask.Grid, Primary: []quantity.Degree{0}, Secondary: []quantity.Degree{0, 10}, Outlooks: [][]*outlook.Beam{{nil, {KermaGy: ask.Grid}}},
		}
	}
	return doc, p.err
}

func (p plans) Drawn(_ context.Context, cases []store.Case, format string) (string, []byte, error) {
	return "image/" + format, []byte(strconv.Itoa(len(cases))), p.err
}

// newRig makes a rig; change, when not nil, changes its settings.
func newRig(t testing.TB, change func(*httpapi.Config)) *rig {
	t.Helper()
	return newRigIn(t, t.TempDir(), change)
}

func newRigIn(t testing.TB, dir string, change func(*httpapi.Config)) *rig {
	t.Helper()
	r := &rig{t: t, clock: witness.At(time.Date(2026, 9, 14, 8, 0, 0, 0, time.UTC)), log: &witness.Log{}, looked: map[string]store.Receipt{}}
	db, err := store.Open(context.Background(), store.Config{Dir: dir, Program: "test", Now: r.clock.Now})
	require.NoError(t, err)
	r.db = db
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	t.Cleanup(func() {
		for _, secret := range planted() {
			assert.NotContains(t, r.log.String(), secret, "the log names a patient")
		}
	})
	r.cfg = httpapi.Config{
		Version: "test", TokenRate: 1e6, AddressRate: 1e6, RefusalRate: 1e6, Now: r.clock.Now,
		Logger:     slog.New(slog.NewJSONHandler(r.log, nil)),
		Fatal:      func(err error) { assert.NoError(t, err) },
		KnownClass: func(class string) bool { return class == "evar" },
		Events: func(v store.Version) ([]procedure.Event, error) {
			return []procedure.Event{{UID: "2.25.9", Place: string(v.Body), Technique: procedure.Technique{Voltages: []quantity.Kilovolt{70, 80}}}}, nil
		},
		Maps: maps{}, Windows: sums{}, Plans: plans{}, Papers: papers{db}, Releases: releases{db}, Upkeep: &upkeep.Worker{Store: db, StoreDir: dir, Program: "test", Started: r.clock.Now(), Now: r.clock.Now},
	}
	if change != nil {
		change(&r.cfg)
	}
	r.rebuild(db)
	spec, err := openapi3.NewLoader().LoadFromFile("../../api/openapi.yaml") // also what is not generated
	require.NoError(t, err)
	r.router, err = gorillamux.NewRouter(spec)
	require.NoError(t, err)
	return r
}

// rebuild makes the interface anew over another store.
func (r *rig) rebuild(over httpapi.Store) {
	r.t.Helper()
	var err error
	keeper := &ingest.Keeper{Vault: r.db, Limits: dicomio.DefaultLimits(), Fatal: r.cfg.Fatal, Kept: func() {}}
	r.server, err = httpapi.New(r.cfg, over, keeper)
	require.NoError(r.t, err)
}

var actor = store.System("test")

// account makes an account and a token of it that holds for an hour.
func (r *rig) account(role access.Role, rooms []string) (token string, id store.Account) {
	r.t.Helper()
	r.cases++
	a, err := r.db.AddAccount(context.Background(), actor, fmt.Sprintf("%s %d", role, r.cases), string(role), rooms)
	require.NoError(r.t, err)
	return r.token(a, time.Hour).Text, a
}

func (r *rig) token(a store.Account, age time.Duration) access.Secret {
	r.t.Helper()
	secret := access.NewSecret()
	_, err := r.db.AddToken(context.Background(), actor, a.ID, secret.Prefix, secret.Hash, "test", r.clock.Now().Add(age))
	require.NoError(r.t, err)
	return secret
}

// physicist gives the token of a physicist who sees every room.
func (r *rig) physicist() string {
	token, _ := r.account(access.Physicist, nil)
	return token
}

func identity() store.Identity {
	return store.Identity{Number: plantedNumber, Issuer: plantedIssuer, Name: plantedName, BirthDate: plantedBirth, Sex: "F"}
}

// receipt makes a receipt; a reason puts it into quarantine.
func (r *rig) receipt(reason string) store.Receipt {
	r.t.Helper()
	r.cases++
	arrival, err := r.db.Receive(context.Background(), strings.NewReader(fmt.Sprintf("object %d", r.cases)))
	require.NoError(r.t, err)
	require.NoError(r.t, arrival.Keep())
	got, _, err := r.db.Accept(context.Background(), actor, store.Arrival{
		Digest: arrival.Digest, Size: int64(len(arrival.Bytes)), Door: "test", StudyUID: fmt.Sprintf("2.25.%d", r.cases), Quarantine: reason,
	})
	require.NoError(r.t, err)
	return got
}

// report makes a receipt that was read as a report of a patient, and gives its study's job.
func (r *rig) report(i store.Identity) (store.Receipt, store.Report, store.Job) {
	r.t.Helper()
	ctx := context.Background()
	got := r.receipt("")
	j := r.lease(store.JobRead)
	n := fmt.Sprint(r.cases)
	require.NoError(r.t, r.db.SaveReport(ctx, j, store.Report{
		ReceiptID: got.ID, SOPInstance: "2.25.1" + n, DataSetDigest: "d" + n, ContentDigest: "c" + n, StudyUID: got.StudyUID, DeviceKey: "device",
		ContentAt: r.clock.Now(), Body: []byte("{}"),
	}, i))
	reports, err := r.db.ReportsOfStudy(ctx, got.StudyUID)
	require.NoError(r.t, err)
	return got, reports[0], r.lease(store.JobAssess)
}

func (r *rig) lease(want store.JobKind) store.Job {
	r.t.Helper()
	j, err := r.db.Lease(context.Background(), "test", time.Minute)
	require.NoError(r.t, err)
	require.Equal(r.t, want, j.Kind)
	return j
}

// procedure makes a procedure of the planted patient in a room, with one estimate that has a map and a flag.
func (r *rig) procedure(room string) store.Case { return r.procedureOf(room, identity()) }

func (r *rig) procedureOf(room string, i store.Identity) store.Case {
	r.t.Helper()
	_, report, j := r.report(i)
	return r.save(j, store.Case{
		StudyUID: report.StudyUID, DeviceKey: report.DeviceKey, PatientID: report.PatientID, Room: room, State: "complete",
		Start: r.clock.Now().Add(time.Duration(r.cases) * time.Minute), LocalDate: "2026-09-14", Class: "evar", FlagState: "reached",
		Kerma: quantity.Some[quantity.Gray](5.5), KAP: quantity.Some[quantity.GraySquareMetre](0.05), Complete: true,
		PSD: quantity.Some[quantity.Gray](3.5), PSDLow: quantity.Some[quantity.Gray](2.5), PSDHigh: quantity.Some[quantity.Gray](4.5), PSDMethod: "map",
		Effective: quantity.Some[quantity.Sievert](0.031), EffectiveMethod: "class",
	}, "first")
}

// save makes a version of a case.
func (r *rig) save(j store.Job, c store.Case, digest string) store.Case {
	r.t.Helper()
	ids, err := r.db.SaveAssessment(context.Background(), j, []store.Version{{
		Case: c, Methods: "test 1", Digest: digest, Change: digest, Summary: []byte(`{"kerma_gy":5.500}`), Body: []byte("body"), Map: []byte("picture"),
		Flags: []store.Flag{{Scope: "case", Scheme: "test", LevelID: "kerma-5", Quantity: "kar", State: "reached", Value: quantity.Some(5.5), Level: quantity.Some(5.0), Title: "Test levels", Meaning: "follow-up", Text: "follow-up: 5.50 Gy"}},
	}})
	require.NoError(r.t, err)
	saved, err := r.db.Case(context.Background(), ids[0])
	require.NoError(r.t, err)
	return saved
}

// answer is what came back.
type answer struct {
	status int
	header http.Header
	body   []byte
}

// into reads the answer's JSON.
func (a answer) into(t testing.TB, to any) {
	t.Helper()
	require.NoError(t, json.Unmarshal(a.body, to), string(a.body))
}

// ask sends one request. Its answer must fit the contract, carry the headers of every answer, and name no patient where
// it is a problem.
func (r *rig) ask(method, path, token, body string, headers ...string) answer {
	r.t.Helper()
	request := httptest.NewRequest(method, path, strings.NewReader(body))
	if body != "" {
		request.Header.Set("Content-Type", "application/json")
	}
	if token != "" {
		request.Header.Set("Authorization", "Bearer "+token)
	}
	for i := 0; i < len(headers); i += 2 {
		request.Header.Set(headers[i], headers[i+1])
	}
	return r.send(request)
}

func (r *rig) send(request *http.Request) answer {
	r.t.Helper()
	asked := request.Clone(context.Background())
	recorder := httptest.NewRecorder()
	r.server.Handler().ServeHTTP(recorder, request)
	a := answer{recorder.Code, recorder.Header(), recorder.Body.Bytes()}
	r.fits(asked, a)
	return a
}

// isStore tells whether a request is a DICOMweb Store, whose failures are told object by object.
func isStore(request *http.Request) bool {
	return request.Method == http.MethodPost && strings.HasPrefix(request.URL.Path, "/dicomweb/")
}

func (r *rig) fits(request *http.Request, a answer) {
	r.t.Helper()
	assert.Equal(r.t, "nosniff", a.header.Get("X-Content-Type-Options"))
	assert.Equal(r.t, "no-store", a.header.Get("Cache-Control"))
	assert.Contains(r.t, a.header.Get("Content-Security-Policy"), "default-src 'none'")
	assert.NotEmpty(r.t, a.header.Get("X-Request-Id"))
	assert.Empty(r.t, a.header.Get("Access-Control-Allow-Origin"))
	if a.header.Get("Content-Type") == "application/problem+json" {
		var p httpapi.Problem
		a.into(r.t, &p)
		assert.Equal(r.t, a.status, p.Status)
		require.NotNil(r.t, p.RequestId)
		assert.Equal(r.t, a.header.Get("X-Request-Id"), *p.RequestId)
		for _, secret := range planted() {
			assert.NotContains(r.t, string(a.body), secret, "a problem names a patient")
		}
	} else if len(a.body) > 0 && !isStore(request) && a.header.Get("Content-Type") != "application/fhir+json" {
		assert.Less(r.t, a.status, 400, "a failure is a problem: %s", a.body)
	}
	route, params, err := r.router.FindRoute(request)
	if err != nil {
		assert.Contains(r.t, []int{404, 405}, a.status, "no operation of the contract")
		return
	}
	assert.NoError(r.t, openapi3filter.ValidateResponse(context.Background(), &openapi3filter.ResponseValidationInput{
		RequestValidationInput: &openapi3filter.RequestValidationInput{Request: request, PathParams: params, Route: route},
		Status:                 a.status, Header: a.header, Body: io.NopCloser(bytes.NewReader(a.body)),
		Options: &openapi3filter.Options{IncludeResponseStatus: true},
	}), "%s %s: %d", request.Method, route.Path, a.status)
}

// actions lists the audit records after a sequence number as "action object".
func (r *rig) actions(after int64) []string {
	r.t.Helper()
	records, err := r.db.AuditAfter(context.Background(), after, 1000)
	require.NoError(r.t, err)
	var all []string
	for _, one := range records {
		all = append(all, one.Action+" "+one.Object)
	}
	return all
}

// head is the end of the audit chain now.
func (r *rig) head() int64 {
	r.t.Helper()
	h, err := r.db.AuditHead(context.Background())
	require.NoError(r.t, err)
	return int64(h.Sequence)
}
