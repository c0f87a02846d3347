package httpapi

import (
	"cmp"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/prometheus/client_golang/prometheus"
	"golang.org/x/sync/semaphore"

	"afterbeam/internal/access"
	"afterbeam/internal/followup/completeness"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/store"
	"afterbeam/internal/wording"
)

// Defaults of Config.
const (
	// DefaultBodyLimit is the largest body in bytes: that of a dose report.
	DefaultBodyLimit = 48 << 20
	// DefaultStoreLimit is the largest DICOMweb Store request in bytes. It is never in memory as a whole.
	DefaultStoreLimit = 1 << 30
	// DefaultBodiesAtOnce is how many bytes of reports may be under way at once.
	DefaultBodiesAtOnce = 96 << 20
	// DefaultTokenRate and DefaultAddressRate are requests per second; twice as many may come at once.
	DefaultTokenRate   = 100
	DefaultAddressRate = 200
	// DefaultRefusalRate is how many refused requests per second are audited; see refusals.
	DefaultRefusalRate = 1
)

// jsonLimit is the largest body that is not a dose report.
const jsonLimit = 64 << 10

// draftLexicon is the operation whose body is a site's lexicon, lexiconLimit the largest: as many rows as the contract takes.
const (
	draftLexicon access.Operation = "draftLexicon"
	lexiconLimit                  = 4 << 20
)

// Config says what the interface needs beside store and keeper. Now, Logger, Fatal, KnownClass, Events, Maps, Windows,
// Plans, Papers, Releases and Upkeep are required; a number that is 0 is its default.
type Config struct {
	// Version is the program's version, for the metrics.
	Version string
	// StoreLimit is the largest DICOMweb Store request in bytes; each object of it is held to BodyLimit.
	StoreLimit int64
	// BodyLimit and BodiesAtOnce bound the memory of reports being received, in bytes.
	BodyLimit, BodiesAtOnce int64
	// TokenRate and AddressRate are the requests per second of one token and of one address.
	TokenRate, AddressRate float64
	// RefusalRate is the refused requests per second that are audited one by one.
	RefusalRate float64
	// BehindProxy takes a caller's address from the last entry of X-Forwarded-For, which the proxy in front must set.
	BehindProxy bool

	Now    func() time.Time
	Logger *slog.Logger
	// Fatal is told of a failed fsync; it must end the process.
	Fatal func(error)
	// KnownClass tells whether there is such a procedure class.
	KnownClass func(string) bool
	// Events reads the irradiation events out of a version.
	Events func(store.Version) ([]procedure.Event, error)
	// Maps draws the skin dose map of a version.
	Maps Maps
	// Windows sums a patient's cases over windows of time.
	Windows Windows
	// Plans looks ahead at what planned beams would add.
	Plans Plans
	// Papers makes papers.
	Papers Papers
	// Upkeep knows how backups, disks, certificates and the audit chain stand.
	Upkeep Upkeep
	// Releases makes what leaves the department.
	Releases Releases
	// Notices is how people are told of cases.
	Notices Notices
	// Levels are those of the settings, in force while no set of levels was approved; without rows they are the default.
	Levels level.Set
	// Lexicon is the table of the settings, over which a site's version stands; nil is the default.
	Lexicon *lexicon.Lexicon
	// Site places times of tables without an offset, and says which day it is; nil is UTC.
	Site *time.Location
	// Centre, Department and Notice stand on the pack of a month; Notice says that data are synthetic.
	Centre, Department, Notice string
	// MatchWindow and Grace are the rules by which reports count as missing; 0 is the default of the comparison.
	MatchWindow, Grace time.Duration
}

// Validate tells what is missing or out of range.
func (c Config) Validate() error {
	var all []error
	for _, part := range []struct {
		name    string
		missing bool
	}{
		{"Now", c.Now == nil},
		{"Logger", c.Logger == nil},
		{"Fatal", c.Fatal == nil},
		{"KnownClass", c.KnownClass == nil},
		{"Events", c.Events == nil},
		{"Maps", c.Maps == nil},
		{"Windows", c.Windows == nil},
		{"Plans", c.Plans == nil},
		{"Papers", c.Papers == nil},
		{"Releases", c.Releases == nil},
		{"Upkeep", c.Upkeep == nil},
	} {
		if part.missing {
			all = append(all, fmt.Errorf("%w: HTTP interface without %s", store.ErrInvalid, part.name))
		}
	}
	if c.StoreLimit < 0 || c.BodyLimit < 0 || c.BodiesAtOnce < 0 || c.TokenRate < 0 || c.AddressRate < 0 || c.RefusalRate < 0 {
		all = append(all, fmt.Errorf("%w: a limit of the HTTP interface is negative", store.ErrInvalid))
	}
	return errors.Join(all...)
}

func (c Config) withDefaults() Config {
	c.StoreLimit = cmp.Or(c.StoreLimit, DefaultStoreLimit)
	c.BodyLimit = cmp.Or(c.BodyLimit, DefaultBodyLimit)
	c.BodiesAtOnce = max(cmp.Or(c.BodiesAtOnce, DefaultBodiesAtOnce), c.BodyLimit)
	c.TokenRate = cmp.Or(c.TokenRate, DefaultTokenRate)
	c.AddressRate = cmp.Or(c.AddressRate, DefaultAddressRate)
	c.RefusalRate = cmp.Or(c.RefusalRate, DefaultRefusalRate)
	c.MatchWindow = cmp.Or(c.MatchWindow, completeness.DefaultWindow)
	if c.Notices.Policy.Language == "" {
		c.Notices.Policy.Language = wording.Base
	}
	c.Grace = cmp.Or(c.Grace, completeness.DefaultGrace)
	if len(c.Levels.Rows) == 0 {
		c.Levels = level.Default()
	}
	c.Lexicon = cmp.Or(c.Lexicon, lexicon.Default())
	return c
}

// Server is the HTTP interface. Make one by New.
type Server struct {
	cfg      Config
	store    Store
	keeper   Keeper
	echo     *echo.Echo
	byRoute  map[string]access.Operation // by method and path
	receives map[access.Operation]int64  // how large a body the operations that receive objects take
	tokens   *limiters
	address  *limiters
	used     *usage
	refusals *refusals
	doses    *doses
	bodies   *semaphore.Weighted
	auditing sync.Mutex // one walk of the audit chain at a time
	planning sync.Mutex // one plan at a time: it takes a core for as long as it lasts
	tables   sync.Mutex // one table written at a time, for as long as its reader takes
	metrics  *metrics
	failed   func(echo.Context, Problem) error // answers what goes wrong outside of the operations, nil for problem+json
}

// New makes the interface over a store and a keeper of reports. It fails when the contract and the table of permissions
// do not name the same operations.
func New(cfg Config, db Store, keeper Keeper) (*Server, error) {
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	cfg = cfg.withDefaults()
	s := &Server{
		cfg: cfg, store: db, keeper: keeper, echo: echo.New(),
		tokens: newLimiters(cfg.TokenRate, cfg.Now), address: newLimiters(cfg.AddressRate, cfg.Now),
		used: newUsage(db, cfg.Now), refusals: newRefusals(db, cfg.RefusalRate, cfg.Now), doses: newDoses(),
		bodies: semaphore.NewWeighted(cfg.BodiesAtOnce),
	}
	var err error
	if s.metrics, err = newMetrics(cfg, db); err != nil {
		return nil, err
	}
	if err := s.route(); err != nil {
		return nil, err
	}
	return s, nil
}

// route gives every operation of the contract its checks and its handler.
func (s *Server) route() error {
	spec, err := GetSpec()
	if err != nil {
		return fmt.Errorf("read contract: %w", err)
	}
	schemas := operations(spec)
	web, resources := s.dicomweb(), s.resources().Operations()
	if err := checkPermissions(named(schemas, web, resources)); err != nil {
		return err
	}
	checks := map[string][]echo.MiddlewareFunc{}
	s.byRoute, s.receives = map[string]access.Operation{}, map[access.Operation]int64{
		keepReport: s.cfg.BodyLimit, importPerformed: s.cfg.BodyLimit, draftLexicon: lexiconLimit,
	}
	for op, schema := range schemas {
		checks[string(op)] = []echo.MiddlewareFunc{s.authenticate(op), s.authorise(op), schema.check}
		s.byRoute[schema.route.Method+" "+echoPath(schema.route.Path)] = op
	}
	s.echo.HideBanner, s.echo.HidePort = true, true
	s.echo.HTTPErrorHandler = s.problem
	s.echo.Use(s.record, s.recover, onlyKnownMethods, s.limitAddress, s.capBody)
	handler := NewStrictHandler(&handlers{s}, []StrictMiddlewareFunc{onlyAuthorised})
	RegisterHandlersWithOptions(s.echo, handler, RegisterHandlersOptions{OperationMiddlewares: checks})
	s.mount(web)
	s.mountResources(resources)
	for _, r := range s.echo.Routes() {
		if s.byRoute[r.Method+" "+r.Path] == "" {
			return fmt.Errorf("%w: route %s %s is no operation of the contract", store.ErrInvalid, r.Method, r.Path)
		}
	}
	return nil
}

// Handler answers the requests.
func (s *Server) Handler() http.Handler { return s.echo }

// Routes lists the routes, so that a test can ask for every one of them.
func (s *Server) Routes() []*echo.Route { return s.echo.Routes() }

// Measure shows the measurements of another part of the service beside those of the interface.
func (s *Server) Measure(c prometheus.Collector) error { return s.metrics.registry.Register(c) }

// Measured describes everything that is measured, also what has no value yet.
func (s *Server) Measured(to chan<- *prometheus.Desc) { s.metrics.registry.Describe(to) }

// Metrics answers with the metrics; it belongs on a listener of its own.
func (s *Server) Metrics() http.Handler { return s.metrics.handler() }

// HTTPServer gives a server with the time limits that slow callers meet: a header within 10 s, a whole request within
// two minutes, an answer within five, an idle connection two minutes.
func HTTPServer(handler http.Handler, logger *slog.Logger) *http.Server {
	return &http.Server{
		Handler:           handler,
		ReadHeaderTimeout: 10 * time.Second,
		ReadTimeout:       2 * time.Minute,
		WriteTimeout:      5 * time.Minute,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    32 << 10,
		ErrorLog:          slog.NewLogLogger(logger.Handler(), slog.LevelDebug),
	}
}

// handlers are the operations of the contract.
type handlers struct{ *Server }
