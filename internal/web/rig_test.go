package web_test

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/access/password"
	"afterbeam/internal/export/outlook"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/ingest"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
	"afterbeam/internal/upkeep"
	"afterbeam/internal/web"
	"afterbeam/internal/web/browsertest"
	"afterbeam/internal/witness"
)

func TestMain(m *testing.M) { os.Exit(browsertest.Main(m)) }

// rig is the pages over a real store, beside the real interface, with a clock that the test moves.
type rig struct {
	t      *testing.T
	db     *store.DB
	clock  *witness.Clock
	log    *witness.Log
	server *httptest.Server
	api    *httpapi.Server
	upkeep *upkeep.Worker
	hasher *password.Hasher
}

// cheap is a password hash that costs nothing, for tests that are not about its cost.
func cheap() password.Cost { return password.Cost{Passes: 1, MemoryKiB: 8, Lanes: 1} }

type nothing struct{}

func (nothing) Draw(context.Context, store.Version, string) (string, []byte, error) {
	return "", nil, store.ErrNotFound
}

func (nothing) Sums(context.Context, []store.Case, string) ([]httpapi.WindowSum, error) {
	return nil, store.ErrNotFound
}

func (nothing) Plan(context.Context, []store.Case, outlook.Ask) (outlook.Document, error) {
	return outlook.Document{}, store.ErrNotFound
}

func (nothing) Drawn(context.Context, []store.Case, string) (string, []byte, error) {
	return "", nil, store.ErrNotFound
}

func (nothing) Make(context.Context, store.Actor, string, httpapi.PaperAsk) (store.Paper, error) {
	return store.Paper{}, store.ErrNotFound
}

type noReleases struct{}

func (noReleases) Make(context.Context, store.Actor, string) (store.Release, error) {
	return store.Release{}, store.ErrNotFound
}

// eventsOf reads the events of a version, none of one that the test made without any.
func eventsOf(v store.Version) ([]procedure.Event, error) {
	if len(v.Body) == 0 {
		return nil, nil
	}
	c, err := archive.ReadProcedure(v.Body)
	return c.Procedure.Events, err
}

// newRig makes a rig; change, when not nil, changes the settings of the pages. A Secure rig is served over HTTPS.
func newRig(t *testing.T, change func(*web.Config)) *rig {
	t.Helper()
	r := &rig{t: t, clock: witness.At(time.Date(2026, 9, 14, 8, 0, 0, 0, time.UTC)), log: &witness.Log{}, hasher: password.NewHasher(cheap(), 2)}
	var err error
	dir := t.TempDir()
	r.db, err = store.Open(context.Background(), store.Config{Dir: dir, Program: "test", Now: r.clock.Now})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, r.db.Close()) })
	logger := slog.New(slog.NewJSONHandler(r.log, nil))
	fatal := func(err error) { assert.NoError(t, err) }
	keeper := &ingest.Keeper{Vault: r.db, Limits: dicomio.DefaultLimits(), Fatal: fatal, Kept: func() {}}
	r.upkeep = &upkeep.Worker{Store: r.db, StoreDir: dir, Program: "test", Started: r.clock.Now(), Now: r.clock.Now}
	r.api, err = httpapi.New(httpapi.Config{
		Version: "test", TokenRate: 1e6, AddressRate: 1e6, RefusalRate: 1e6, Now: r.clock.Now, Logger: logger, Fatal: fatal,
		KnownClass: func(string) bool { return false }, Events: eventsOf,
		Levels: level.Default(), Maps: nothing{}, Windows: nothing{}, Plans: nothing{}, Papers: nothing{}, Releases: noReleases{}, Upkeep: r.upkeep,
	}, r.db, keeper)
	require.NoError(t, err)
	cfg := web.Config{API: r.api, Store: r.db, Now: r.clock.Now, Logger: logger, Version: "test", Passwords: true, Cost: cheap()}
	if change != nil {
		change(&cfg)
	}
	site, err := web.New(cfg)
	require.NoError(t, err)
	site.Mount(r.api)
	r.server = httptest.NewUnstartedServer(r.api.Handler())
	if cfg.Secure {
		r.server.StartTLS()
	} else {
		r.server.Start()
	}
	t.Cleanup(r.server.Close)
	return r
}

// person makes an account of a role with a password.
func (r *rig) person(role access.Role, name, text string) store.Account {
	r.t.Helper()
	a, err := r.db.AddAccount(context.Background(), store.System("test"), name, string(role), nil)
	require.NoError(r.t, err)
	hash, err := r.hasher.Hash(context.Background(), text)
	require.NoError(r.t, err)
	require.NoError(r.t, r.db.ChangePassword(context.Background(), store.System("test"), a.ID, hash))
	return a
}

// visitor is a browser without scripts: it keeps cookies and follows no redirect.
type visitor struct {
	r      *rig
	client *http.Client
}

func (r *rig) visitor() *visitor {
	r.t.Helper()
	jar, err := cookiejar.New(nil)
	require.NoError(r.t, err)
	client := r.server.Client()
	return &visitor{r, &http.Client{
		Transport: client.Transport, Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}
}

// page is an answer as text.
type page struct {
	status   int
	header   http.Header
	body     string
	location string
	cookies  []*http.Cookie
}

func (v *visitor) send(request *http.Request) page {
	v.r.t.Helper()
	answer, err := v.client.Do(request)
	require.NoError(v.r.t, err)
	body, err := io.ReadAll(answer.Body)
	require.NoError(v.r.t, err)
	require.NoError(v.r.t, answer.Body.Close())
	return page{answer.StatusCode, answer.Header, string(body), answer.Header.Get("Location"), answer.Cookies()}
}

func (v *visitor) get(path string, headers ...string) page {
	v.r.t.Helper()
	return v.ask(http.MethodGet, path, nil, headers...)
}

// post sends a form of pairs as a browser does from a page of the service.
func (v *visitor) post(path string, pairs ...string) page {
	v.r.t.Helper()
	form := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		form.Set(pairs[i], pairs[i+1])
	}
	return v.ask(http.MethodPost, path, form, "Sec-Fetch-Site", "same-origin")
}

func (v *visitor) ask(method, path string, form url.Values, headers ...string) page {
	v.r.t.Helper()
	request, err := http.NewRequest(method, v.r.server.URL+path, strings.NewReader(form.Encode()))
	require.NoError(v.r.t, err)
	if form != nil {
		request.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for i := 0; i+1 < len(headers); i += 2 {
		request.Header.Set(headers[i], headers[i+1])
	}
	return v.send(request)
}

// signIn signs in and wants it to work.
func (v *visitor) signIn(name, text string) page {
	v.r.t.Helper()
	p := v.post("/sign-in", "account", name, "password", text)
	require.Equal(v.r.t, http.StatusSeeOther, p.status, p.body)
	return p
}

// actions lists the audit records as "action outcome".
func (r *rig) actions() []string {
	r.t.Helper()
	records, err := r.db.AuditAfter(context.Background(), 0, 1000)
	require.NoError(r.t, err)
	var all []string
	for _, one := range records {
		all = append(all, one.Action+" "+one.Outcome)
	}
	return all
}
