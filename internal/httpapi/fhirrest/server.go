package fhirrest

import (
	"context"
	"errors"
	"net/http"

	"afterbeam/internal/access"
	"afterbeam/internal/export/fhir"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/store"
)

// The kinds of failure that only this interface knows.
var (
	ErrMediaType     = errors.New("another media type is wanted")
	ErrNotAcceptable = errors.New("no format that is accepted")
	// ErrUnmet is a resource whose profile cannot be met.
	ErrUnmet = fhir.ErrUnmet
	// ErrSeveral is an identifier that several records have which are not linked.
	ErrSeveral = errors.New("several records")
)

// Refusal is a failure with a text for the caller, which holds nothing that the caller sent. Outcome is its answer, nil for one
// made of the text.
type Refusal struct {
	Kind    error
	Detail  string
	Outcome *fhir.OperationOutcome
}

// Error gives the text.
func (r *Refusal) Error() string { return r.Kind.Error() + ": " + r.Detail }

// Unwrap gives the kind.
func (r *Refusal) Unwrap() error { return r.Kind }

func refuse(kind error, detail string) error { return &Refusal{Kind: kind, Detail: detail} }

// Store is what the interface reads. store.DB is one.
type Store interface {
	Case(ctx context.Context, id string) (store.Case, error)
	Cases(ctx context.Context, f store.Filter) ([]store.Case, error)
	Version(ctx context.Context, id string, number int) (store.Version, error)
	Versions(ctx context.Context, id string) ([]store.Version, error)
	Organs(ctx context.Context, id string, version int) (store.OrganDose, error)
	Patient(ctx context.Context, id string) (store.Patient, error)
	FindPatients(ctx context.Context, number, issuer string) ([]store.Patient, error)
	CasesOfPatient(ctx context.Context, patient string) ([]store.Case, error)
	Devices(ctx context.Context, rooms []string) ([]store.Device, error)
	Device(ctx context.Context, id string, rooms []string) (store.Device, error)
	DeviceID(ctx context.Context, key string) (string, error)
	SoftwareOf(ctx context.Context, id string) ([]store.Seen, error)
	Viewed(ctx context.Context, actor store.Actor, action, object, patient string) error
}

// Config says what the interface works with.
type Config struct {
	Store Store
	// Levels gives the levels in force: a value below one never prints as it.
	Levels func(ctx context.Context) (level.Set, error)
	// Version is the program's.
	Version string
	// BehindProxy says that a proxy in front speaks HTTPS, so that URLs in answers begin with that.
	BehindProxy bool
}

// Server is the interface. Make one by New.
type Server struct{ cfg Config }

// New makes the interface.
func New(cfg Config) *Server { return &Server{cfg} }

// Call is who asks, and the id in the path, "" for none.
type Call struct {
	Grant  access.Grant
	Source string // the caller's address
	ID     string
}

func (c Call) actor() store.Actor { return c.Grant.Actor(c.Source) }

// Root is where the paths begin.
const Root = "/fhir"

// Operation is one operation: its name in the table of permissions, its route, whose parameter is :id, and what the
// CapabilityStatement says of it.
type Operation struct {
	Name         access.Operation
	Method, Path string
	// Resource and Interaction are those of the CapabilityStatement, "" for the statement itself.
	Resource, Interaction string
	Text                  string
	parameters            []parameter
	Serve                 func(w http.ResponseWriter, r *http.Request, c Call) error
}

// Operations lists the operations.
func (s *Server) Operations() []Operation {
	read := func(name access.Operation, resource, text string, serve func(context.Context, Call) (versioned, error)) Operation {
		return Operation{
			Name: name, Method: http.MethodGet, Path: Root + "/" + resource + "/:id", Resource: resource, Interaction: "read", Text: text, Serve: s.reading(serve),
		}
	}
	search := func(name access.Operation, method, resource, text string, takes []parameter, serve func(context.Context, Call, asked) (*fhir.Bundle, error)) Operation {
		path := Root + "/" + resource
		if method == http.MethodPost {
			path += "/_search"
		}
		return Operation{
			Name: name, Method: method, Path: path, Resource: resource, Interaction: "search-type", Text: text, parameters: takes,
			Serve: s.searching(path, takes, serve),
		}
	}
	const inBody = "By POST to _search, so that an identifier of a patient is in the body and never in a URL."
	return []Operation{
		{Name: "readCapabilities", Method: http.MethodGet, Path: Root + "/metadata", Serve: s.capabilities},
		read("readObservation", "Observation", "What the equipment totals, and each estimate, as Observations of their own.", s.observation),
		search("searchObservations", http.MethodGet, "Observation", "By GET without identifiers of patients.", observationParameters(false), s.observations),
		search("findObservations", http.MethodPost, "Observation", inBody, observationParameters(true), s.observations),
		read("readReport", "Composition", "The radiation summary report of a procedure.", s.report),
		read("readProvenance", "Provenance", "Why Observations of a procedure are no longer what they were told as.", s.provenance),
		read("readEquipment", "Device", "The equipment as its newest report describes it.", s.device),
		search("searchEquipment", http.MethodGet, "Device", "All that the caller may see.", deviceParameters(), s.devices),
		read("readPatientRecord", "Patient", "A patient record.", s.patient),
		search("findPatientRecords", http.MethodPost, "Patient", inBody, patientParameters(), s.patients),
	}
}
