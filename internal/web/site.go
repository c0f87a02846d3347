package web

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"log/slog"
	"net/http"
	"net/url"
	"slices"
	"time"

	"github.com/labstack/echo/v4"

	"afterbeam/internal/access"
	"afterbeam/internal/access/password"
	"afterbeam/internal/audit"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/store"
	"afterbeam/internal/wording"
)

//go:embed language/*.toml
var languageFiles embed.FS

// API answers the operations of the HTTP interface inside the process. httpapi.Server is one.
type API interface {
	Inside(r *http.Request, p httpapi.SignedIn) httpapi.Answer
}

// Store is what signing in needs of the store. store.DB is one.
type Store interface {
	access.Sessions
	BeginSession(ctx context.Context, actor store.Actor, s store.Session, hash string) (store.Session, error)
	SessionsOf(ctx context.Context, account string) ([]store.Session, error)
	SessionSeen(ctx context.Context, id string) error
	ConfirmSession(ctx context.Context, actor store.Actor, id string) error
	EndSession(ctx context.Context, actor store.Actor, account, id, reason string) error
	EndSessions(ctx context.Context, actor store.Actor, account, reason string) error
	PasswordOf(ctx context.Context, name string) (store.Account, string, error)
	OfferedTo(ctx context.Context, hash string) (store.Account, error)
	SetPassword(ctx context.Context, source, link, hash string) (store.Account, error)
	ChangePassword(ctx context.Context, actor store.Actor, account, hash string) error
	AccountOfOutside(ctx context.Context, source string, o store.Outside) (store.Account, error)
	MakeAccount(ctx context.Context, actor store.Actor, a store.Account) (store.Account, error)
	Tokens(ctx context.Context) ([]store.Token, error)
	AddToken(ctx context.Context, actor store.Actor, account, prefix, hash, purpose string, expires time.Time) (store.Token, error)
	RevokeToken(ctx context.Context, actor store.Actor, id, reason string) error
	Note(ctx context.Context, actor store.Actor, r audit.Record) error
}

// Defaults of Config: NIST and OWASP leave the times to the site; these are the project's judgement for a machine that
// several people use.
const (
	DefaultIdle    = 15 * time.Minute
	DefaultLongest = 12 * time.Hour
)

// Config says what the pages need. API, Store, Now and Logger are required.
type Config struct {
	API    API
	Store  Store
	Now    func() time.Time
	Logger *slog.Logger
	// Version is the program's, shown at the foot of each page.
	Version string
	// Zone is the site's time zone, in which times are shown; nil is UTC.
	Zone *time.Location
	// Secure says that browsers come by HTTPS: cookies are bound to it then.
	Secure bool
	// PublicURL is where browsers reach the service, "" where only this machine does.
	PublicURL string
	// Idle is how long a session may be unused, Longest how long it lasts; 0 is the default.
	Idle, Longest time.Duration
	// Passwords says that people may sign in by a password that is kept here.
	Passwords bool
	// Cost is the work of one password, its default when 0.
	Cost password.Cost
	// Issuer is where people sign in elsewhere, nil for none.
	Issuer Issuer
	// NewRole is the role of accounts that are made for people whom the issuer knows and we do not; "" makes none.
	NewRole access.Role
	// Synthetic says on every page that nobody in it is real.
	Synthetic bool
}

// Site is the pages. Make one by New.
type Site struct {
	cfg       Config
	book      wording.Book
	templates map[string]*template.Template // by file
	assets    assets
	pages     []page
	origin    *http.CrossOriginProtection
	passwords *password.Hasher
	slow      *slowdown
	flows     *flows
	refused   *refused
}

// hashesAtOnce bounds the memory of passwords being checked: 64 MiB each.
const hashesAtOnce = 2

// New makes the pages. It fails when a language, a template or a setting does not fit.
func New(cfg Config) (*Site, error) {
	if cfg.API == nil || cfg.Store == nil || cfg.Now == nil || cfg.Logger == nil {
		return nil, fmt.Errorf("%w: pages without API, Store, Now or Logger", store.ErrInvalid)
	}
	if cfg.Zone == nil {
		cfg.Zone = time.UTC
	}
	if cfg.Idle == 0 {
		cfg.Idle = DefaultIdle
	}
	if cfg.Longest == 0 {
		cfg.Longest = DefaultLongest
	}
	if cfg.Cost == (password.Cost{}) {
		cfg.Cost = password.DefaultCost()
	}
	s := &Site{
		cfg: cfg, origin: http.NewCrossOriginProtection(), passwords: password.NewHasher(cfg.Cost, hashesAtOnce),
		slow: newSlowdown(cfg.Now), flows: newFlows(cfg.Now), refused: newRefused(cfg.Now),
	}
	if cfg.PublicURL != "" {
		u, err := url.Parse(cfg.PublicURL)
		if err != nil {
			return nil, fmt.Errorf("%w: public URL: %w", store.ErrInvalid, err)
		}
		if err := s.origin.AddTrustedOrigin(u.Scheme + "://" + u.Host); err != nil {
			return nil, fmt.Errorf("%w: public URL: %w", store.ErrInvalid, err)
		}
	}
	folder, err := fs.Sub(languageFiles, "language")
	if err != nil {
		return nil, err
	}
	if s.book, err = wording.Load(folder); err != nil {
		return nil, err
	}
	if s.assets, err = loadAssets(); err != nil {
		return nil, err
	}
	s.pages = s.allPages()
	s.templates, err = loadTemplates(s.pages)
	return s, err
}

// allPages lists every page. The order is that of the navigation and of where a person lands.
func (s *Site) allPages() []page {
	return slices.Concat(
		s.todayPages(), s.casesPages(), s.casePages(), s.followUpPages(), s.monthPages(), s.patientPages(),
		s.lexiconPages(), missingPages(), releasesPages(),
		s.accountsPages(), peoplePages(), auditPages(), operationsPages(),
		devicePages(), waitingPages(), recomputationPages(), acceptancePages(), theoryPages(),
		s.mePages(), helpPages(),
		s.signInPages(), s.openIDPages(), s.sessionPages(), s.passwordPages(), s.firstPages(), s.lookPages(),
	)
}

// Mounter takes routes beside the operations. httpapi.Server is one.
type Mounter interface {
	Mount(pages []httpapi.Page, failed func(echo.Context, httpapi.Problem) error)
}

// Mount puts the pages where m serves.
func (s *Site) Mount(m Mounter) {
	routes := []httpapi.Page{{Method: http.MethodGet, Path: assetPath + ":name", Serve: s.assets.serve}}
	for _, p := range s.pages {
		routes = append(routes, httpapi.Page{Method: p.method, Path: p.path, Serve: s.serve(p)})
	}
	m.Mount(routes, s.failed)
}

var errSessionOver = errors.New("no session")
