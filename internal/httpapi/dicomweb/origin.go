package dicomweb

import (
	"cmp"
	"context"
	"errors"
	"io"
	"net/http"
	"strings"

	"afterbeam/internal/access"
	"afterbeam/internal/ingest"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// The kinds of failure that only this interface knows. Any other is one of the store, the keeper or the body's reader.
var (
	ErrMediaType     = errors.New("another media type is wanted")
	ErrNotAcceptable = errors.New("no media type that is accepted")
)

// Refusal is a failure with a text for the caller, which holds nothing that the caller sent.
type Refusal struct {
	Kind   error
	Detail string
}

// Error gives the text.
func (r *Refusal) Error() string { return r.Kind.Error() + ": " + r.Detail }

// Unwrap gives the kind.
func (r *Refusal) Unwrap() error { return r.Kind }

func refuse(kind error, detail string) error { return &Refusal{Kind: kind, Detail: detail} }

// Keeper makes one received object durable. ingest.Keeper is one.
type Keeper interface {
	KeepIf(ctx context.Context, actor store.Actor, door string, body io.Reader, fits func(dicomio.Identity) error) (store.Receipt, ingest.Answer, error)
}

// Store is where kept objects are found. store.DB is one.
type Store interface {
	Instances(ctx context.Context, f store.InstanceFilter) ([]store.Instance, error)
	InstanceStudies(ctx context.Context, f store.InstanceFilter) ([]store.InstanceGroup, error)
	InstanceSeries(ctx context.Context, f store.InstanceFilter) ([]store.InstanceGroup, error)
	Raw(digest string) ([]byte, error)
	Viewed(ctx context.Context, actor store.Actor, action, object, patient string) error
}

// Defaults of Config.
const (
	DefaultObjectLimit = 48 << 20
	DefaultMostParts   = 2000
)

// Config says what the origin server works with. A number that is 0 is its default.
type Config struct {
	Store  Store
	Keeper Keeper
	// Hold waits until so many bytes of objects may be in memory.
	Hold func(ctx context.Context, bytes int64) (release func(), err error)
	// Counted is told what became of each received object: stored, again, quarantined, refused.
	Counted func(outcome string)
	// ObjectLimit is the largest object in bytes, MostParts the largest number of objects in one request.
	ObjectLimit int64
	MostParts   int
	// BehindProxy says that a proxy in front speaks HTTPS, so that URLs in answers begin with that.
	BehindProxy bool
}

// Origin is the origin server. Make one by New.
type Origin struct {
	cfg    Config
	limits dicomio.Limits
}

// New makes an origin server.
func New(cfg Config) *Origin {
	cfg.ObjectLimit = cmp.Or(cfg.ObjectLimit, DefaultObjectLimit)
	cfg.MostParts = cmp.Or(cfg.MostParts, DefaultMostParts)
	return &Origin{cfg: cfg, limits: dicomio.DefaultLimits()}
}

// Call is who asks and for what; UIDs that are not in the path are "".
type Call struct {
	Grant                   access.Grant
	Source                  string // the caller's address
	Study, Series, Instance string
}

func (c Call) actor() store.Actor { return c.Grant.Actor(c.Source) }

// checkPath refuses what is no UID, so that nothing else of a path goes any further.
func (c Call) checkPath() error {
	for _, uid := range []string{c.Study, c.Series, c.Instance} {
		if uid != "" && !isUID(uid) {
			return refuse(store.ErrInvalid, "the path holds something that is no UID; wanted are up to 64 digits and dots")
		}
	}
	return nil
}

// isUID tells whether a text has the characters and the length of a UID (PS3.5, 9.1).
func isUID(s string) bool {
	return s != "" && len(s) <= 64 && strings.Trim(s, "0123456789.") == ""
}

// Root is where the paths of the origin server begin.
const Root = "/dicomweb"

// Operation is one operation: its name in the table of permissions, and the route, whose parameters are :study, :series
// and :instance.
type Operation struct {
	Name         access.Operation
	Method, Path string
	// Receives tells that its body holds objects.
	Receives bool
	Serve    func(w http.ResponseWriter, r *http.Request, c Call) error
}

// Operations lists the operations.
func (o *Origin) Operations() []Operation {
	const (
		studies = Root + "/studies"
		study   = studies + "/:study"
		series  = study + "/series/:series"
	)
	get := func(name access.Operation, path string, serve func(http.ResponseWriter, *http.Request, Call) error) Operation {
		return Operation{Name: name, Method: http.MethodGet, Path: path, Serve: checked(serve)}
	}
	post := func(name access.Operation, path string) Operation {
		return Operation{Name: name, Method: http.MethodPost, Path: path, Receives: true, Serve: checked(o.store)}
	}
	return []Operation{
		post("storeInstances", studies),
		post("storeStudyInstances", study),
		get("searchStudies", studies, o.search(studyLevel)),
		get("searchSeries", Root+"/series", o.search(seriesLevel)),
		get("searchInstances", Root+"/instances", o.search(instanceLevel)),
		get("searchStudySeries", study+"/series", o.search(seriesLevel)),
		get("searchStudyInstances", study+"/instances", o.search(instanceLevel)),
		get("searchSeriesInstances", series+"/instances", o.search(instanceLevel)),
		get("retrieveStudy", study, o.retrieve),
		get("retrieveSeries", series, o.retrieve),
		get("retrieveInstance", series+"/instances/:instance", o.retrieve),
		get("retrieveStudyMetadata", study+"/metadata", o.metadata),
		get("retrieveSeriesMetadata", series+"/metadata", o.metadata),
		get("retrieveInstanceMetadata", series+"/instances/:instance/metadata", o.metadata),
	}
}

// checked puts the checks of the path before an operation.
func checked(serve func(http.ResponseWriter, *http.Request, Call) error) func(http.ResponseWriter, *http.Request, Call) error {
	return func(w http.ResponseWriter, r *http.Request, c Call) error {
		if err := c.checkPath(); err != nil {
			return err
		}
		return serve(w, r, c)
	}
}

// place gives the URL of a study, a series or an instance, as the caller reaches this server. A caller that names no
// proper host gets the path alone.
func (o *Origin) place(r *http.Request, uids ...string) string {
	scheme := "http"
	if r.TLS != nil || o.cfg.BehindProxy {
		scheme = "https"
	}
	url := scheme + "://" + r.Host
	if r.Host == "" || strings.Trim(r.Host, "0123456789abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ.-:[]") != "" {
		url = ""
	}
	url += Root
	for i, level := range []string{"/studies/", "/series/", "/instances/"} {
		if i < len(uids) {
			url += level + uids[i]
		}
	}
	return url
}
