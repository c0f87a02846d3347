package httpapi

import (
	"context"
	"io"
	"iter"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"afterbeam/internal/audit"
	"afterbeam/internal/export/listing"
	"afterbeam/internal/export/monthly"
	"afterbeam/internal/export/outlook"
	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/completeness"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/followup/notice"
	"afterbeam/internal/httpapi/dicomweb"
	"afterbeam/internal/httpapi/fhirrest"
	"afterbeam/internal/ingest"
	"afterbeam/internal/ingest/naming"
	"afterbeam/internal/ingest/roll"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
	"afterbeam/internal/summary"
	"afterbeam/internal/summary/trend"
	"afterbeam/internal/upkeep"
)

// Keeper makes one received object durable and says what it is. ingest.Keeper is one.
type Keeper interface {
	Keep(ctx context.Context, actor store.Actor, door string, body io.Reader) (store.Receipt, ingest.Answer, error)
	dicomweb.Keeper
}

// Maps draws skin dose maps.
type Maps interface {
	// Draw gives the map of a version as png, svg, json, flat or skin, with its media type.
	Draw(ctx context.Context, v store.Version, format string) (contentType string, body []byte, err error)
}

// Windows sums the dose of one patient.
type Windows interface {
	// Sums gives the windows of 60, 180 and 365 days and of all time that end with the local day asOf (2006-01-02) over
	// all of a patient's cases, oldest first.
	Sums(ctx context.Context, cases []store.Case, asOf string) ([]WindowSum, error)
}

// Plans looks ahead.
type Plans interface {
	// Plan gives what planned beams would add to the skin that the cases of one patient irradiated: an outlook.Document. Its
	// errors are of the kinds outlook.ErrAsk, assessment.ErrNoMap and skindose.ErrPlan besides those of the store.
	Plan(ctx context.Context, cases []store.Case, ask outlook.Ask) (outlook.Document, error)
	// Drawn gives the skin dose of all the cases of one patient on one body as png, svg or json, with its media type. Its error is
	// of the kind assessment.ErrNoMap besides those of the store.
	Drawn(ctx context.Context, cases []store.Case, format string) (contentType string, body []byte, err error)
}

// Papers makes papers.
type Papers interface {
	// Make makes a paper of the newest estimate of a case and keeps it. Its errors are of the kinds paper.ErrRefused,
	// paperpdf.ErrUndrawable and paperpdf.ErrSize besides those of the store.
	Make(ctx context.Context, actor store.Actor, caseID string, ask PaperAsk) (store.Paper, error)
}

// Upkeep knows how the service itself stands, and measures it. upkeep.Worker is one.
type Upkeep interface {
	prometheus.Collector
	State(ctx context.Context) (upkeep.State, error)
}

// Releases makes what leaves the department.
type Releases interface {
	// Make makes an approved release. Its errors are those of the store.
	Make(ctx context.Context, actor store.Actor, id string) (store.Release, error)
}

// PaperAsk is what a paper is asked for with. Language and Size are those of the site when "".
type PaperAsk struct {
	Kind, Language, Size string
	Recipient            []string
	// By names the account for people.
	By string
}

// Quantity is a sum of a window, by its name in the contract.
type Quantity string

// The sums.
const (
	SumOfKerma     Quantity = "kerma_gy"
	SumOfKAP       Quantity = "kap_gy_cm2"
	SumOfTime      Quantity = "fluoroscopy_min"
	SumOfEffective Quantity = "effective_msv"
	SumOfPeaks     Quantity = "peak_skin_upper_gy"
)

// WindowSum is what a patient received over one window. Every sum comes with the number of procedures that are in it: a
// procedure without the quantity is not in the sum.
type WindowSum struct {
	Days       int    // 0 is all time
	From, To   string // local days, both included; From is "" for all time
	Procedures int

	Kerma          quantity.Opt[quantity.Gray]
	KermaFrom      int
	KAP            quantity.Opt[quantity.GraySquareMetre]
	KAPFrom        int
	FluoroTime     quantity.Opt[quantity.Second]
	FluoroTimeFrom int

	Effective, EffectiveLow, EffectiveHigh quantity.Opt[quantity.Sievert]
	EffectiveFrom                          int
	// PeakSkin is the peaks added: an upper bound, since they need not lie on the same skin.
	PeakSkin, PeakSkinHigh quantity.Opt[quantity.Gray]
	PeakSkinFrom           int
	// PeakSkinMethod says in words how PeakSkin came about.
	PeakSkinMethod string
	// EffectiveMethod says in words how Effective came about, and which procedures it lacks.
	EffectiveMethod string
	Skin            MappedSkin
	// AtLeast names the sums that lack a part of what was delivered.
	AtLeast []Quantity

	State string // reached, near, unknown, below, none
	Flags []store.Flag
}

// MappedSkin is the peak of the maps of the procedures of a window, laid on one body.
type MappedSkin struct {
	Value, Low, High quantity.Opt[quantity.Gray] // absent when there is none or it is not known
	From             int                         // procedures whose maps are in it
	Method           string                      // in words, also why there is none
	Place            skindose.Place
	Shares           []CaseShare
	// Flagged is which sum was compared with the levels: mapped, upper bound, none.
	Flagged string
}

// CaseShare is what a procedure gave to the peak.
type CaseShare struct {
	CaseID string
	Dose   quantity.Gray
	Share  float64
}

// Store is what the interface needs of the store, by topic. store.DB is one.
type Store interface {
	dicomweb.Store
	fhirrest.Store
	tokenStore
	accountStore
	receiptStore
	caseStore
	followUpStore
	levelStore
	lexiconStore
	patientStore
	releaseStore
	performedStore
	personStore
	deviceStore
	noticeStore
	recomputeStore
	summaryStore
	auditStore
	Ready(ctx context.Context) error
	Backlog(ctx context.Context) (store.Backlog, error)
}

type tokenStore interface {
	TokenByHash(ctx context.Context, hash string) (store.Token, error)
	TokenUsed(ctx context.Context, id string) error
}

type accountStore interface {
	MakeAccount(ctx context.Context, actor store.Actor, a store.Account) (store.Account, error)
	DisableAccount(ctx context.Context, actor store.Actor, id, reason string) error
	Accounts(ctx context.Context) ([]store.Account, error)
	AddToken(ctx context.Context, actor store.Actor, account, prefix, hash, purpose string, expires time.Time) (store.Token, error)
	Tokens(ctx context.Context) ([]store.Token, error)
	RevokeToken(ctx context.Context, actor store.Actor, id, reason string) error
	OfferPassword(ctx context.Context, actor store.Actor, account, hash string, until time.Time) error
	UseSetup(ctx context.Context, hash string, first store.Account, prefix, tokenHash string, expires time.Time) (store.Account, error)
}

type receiptStore interface {
	Receipt(ctx context.Context, id string) (store.Receipt, error)
	Receipts(ctx context.Context, state store.ReceiptState, after string, limit int) ([]store.Receipt, error)
	ReportsOfStudy(ctx context.Context, study string) ([]store.Report, error)
	Raw(digest string) ([]byte, error)
	Reread(ctx context.Context, actor store.Actor, id, reason string) error
	Discard(ctx context.Context, actor store.Actor, id, reason string) error
}

type caseStore interface {
	Case(ctx context.Context, id string) (store.Case, error)
	Cases(ctx context.Context, f store.Filter) ([]store.Case, error)
	CountCases(ctx context.Context, f store.Filter) (int, error)
	Flags(ctx context.Context, f store.Filter, state string) ([]store.CaseFlag, error)
	Tag(ctx context.Context, id string) (string, error)
	Version(ctx context.Context, id string, number int) (store.Version, error)
	Versions(ctx context.Context, id string) ([]store.Version, error)
	Organs(ctx context.Context, id string, version int) (store.OrganDose, error)
	Facts(ctx context.Context, id string) ([]store.Fact, error)
	AddFacts(ctx context.Context, actor store.Actor, id, tag string, facts []store.Fact) error
	Papers(ctx context.Context, caseID string) ([]store.Paper, error)
	Paper(ctx context.Context, caseID, id string) (store.Paper, error)
}

type followUpStore interface {
	Today() string
	Schedule() ask.Schedule
	Asks(ctx context.Context, f store.AskFilter) ([]store.AskRecord, error)
	AskCounts(ctx context.Context, f store.AskFilter) ([]store.AskCount, error)
	Ask(ctx context.Context, id string) (store.AskRecord, error)
	AskHistory(ctx context.Context, id string) ([]store.AskEvent, error)
	AnswerAsk(ctx context.Context, actor store.Actor, id string, said ask.Answer) (store.AskRecord, error)
	HandOverAsk(ctx context.Context, actor store.Actor, id, account, reason string) (store.AskRecord, error)
	RaisedFlag(ctx context.Context, id string) (store.RaisedFlag, error)
	RaisedFlags(ctx context.Context, caseID string) ([]store.RaisedFlag, error)
	FlagHistory(ctx context.Context, id string) ([]store.FlagEvent, error)
	AsksOfFlag(ctx context.Context, id string) ([]string, error)
	SettleFlag(ctx context.Context, actor store.Actor, id string, s ask.Settlement) (store.RaisedFlag, error)
	AddOwnEstimate(ctx context.Context, actor store.Actor, caseID string, own ask.Own) (store.OwnEstimate, error)
	OwnEstimates(ctx context.Context, caseID string) ([]store.OwnEstimate, error)
}

type levelStore interface {
	LevelsInForce(ctx context.Context) (level.Set, bool, error)
	KeepAcceptance(ctx context.Context, actor store.Actor, a store.Acceptance) (store.Acceptance, error)
	SignAcceptance(ctx context.Context, actor store.Actor, id, reason string) (store.Acceptance, error)
	Acceptance(ctx context.Context, id string) (store.Acceptance, error)
	Acceptances(ctx context.Context) ([]store.Acceptance, error)
	LevelSets(ctx context.Context) ([]store.LevelSet, error)
	LevelSet(ctx context.Context, id string) (store.LevelSet, error)
	DraftLevels(ctx context.Context, actor store.Actor, set level.Set, reason string) (store.LevelSet, error)
	ApproveLevels(ctx context.Context, actor store.Actor, id, reason string) (store.LevelSet, store.Recomputation, error)
	WithdrawLevels(ctx context.Context, actor store.Actor, id, reason string) (store.LevelSet, error)
	Survivors(ctx context.Context) (map[string]string, error)
}

type lexiconStore interface {
	naming.Book
	LexiconVersions(ctx context.Context) ([]store.LexiconVersion, error)
	LexiconVersion(ctx context.Context, id string) (store.LexiconVersion, error)
	DraftLexicon(ctx context.Context, actor store.Actor, base int, rows []lexicon.Row, reason string) (store.LexiconVersion, error)
	PublishLexicon(ctx context.Context, actor store.Actor, id, reason string, table *lexicon.Lexicon) (store.LexiconVersion, store.Recomputation, error)
	WithdrawLexicon(ctx context.Context, actor store.Actor, id, reason string) (store.LexiconVersion, error)
}

type patientStore interface {
	FindPatients(ctx context.Context, number, issuer string) ([]store.Patient, error)
	Patient(ctx context.Context, id string) (store.Patient, error)
	CasesOfPatient(ctx context.Context, patient string) ([]store.Case, error)
	DosesAge() uint64
	Unassessed(ctx context.Context, patient string) ([]store.Unassessed, error)
	IdentityReviews(ctx context.Context, patient string) ([]string, error)
	Links(ctx context.Context, patient string) ([]store.Link, error)
	LinkPatients(ctx context.Context, actor store.Actor, from, into, reason string) (store.Link, error)
	UnlinkPatients(ctx context.Context, actor store.Actor, link, reason string) error
	Reviews(ctx context.Context, after string, limit int) ([]store.Review, error)
	SettleReview(ctx context.Context, actor store.Actor, id, reason string) error
}

type performedStore interface {
	roll.Book
	Performed(ctx context.Context, id string) (store.Performed, error)
	PerformedVersions(ctx context.Context, id string) ([]store.Performed, error)
	PerformedSteps(ctx context.Context, f store.PerformedFilter) ([]store.Performed, error)
	Completeness(ctx context.Context, from, to string, r completeness.Rules) (completeness.List, func(caseID string) string, error)
}

type personStore interface {
	Persons(ctx context.Context, f store.PersonFilter) ([]store.Person, error)
	MapPerson(ctx context.Context, actor store.Actor, person, account, reason string) error
	UnmapPerson(ctx context.Context, actor store.Actor, person, reason string) error
	Fallbacks(ctx context.Context) ([]store.Fallback, error)
	SetFallback(ctx context.Context, actor store.Actor, room, account, reason string) error
}

type deviceStore interface {
	Devices(ctx context.Context, rooms []string) ([]store.Device, error)
	Device(ctx context.Context, id string, rooms []string) (store.Device, error)
	RoomsOf(ctx context.Context, id string) ([]store.Seen, error)
	SoftwareOf(ctx context.Context, id string) ([]store.Seen, error)
	DaysOfUse(ctx context.Context, id string, newest int) ([]string, error)
	Profiles(ctx context.Context, device string) ([]store.Profile, error)
	ProfileTag(ctx context.Context, device string) (string, error)
	DraftProfile(ctx context.Context, actor store.Actor, p store.Profile, tag string) (store.Profile, error)
	WithdrawProfile(ctx context.Context, actor store.Actor, device string, version int, name, reason, tag string) (store.Profile, error)
	SignProfile(ctx context.Context, actor store.Actor, device string, version int, signer, reason, tag string) (store.Profile, store.Recomputation, error)
	SignedProfiles(ctx context.Context, key string) ([]store.Profile, error)
	ReportOfDevice(ctx context.Context, key, instance string) ([]byte, error)
	AddDeviceCheck(ctx context.Context, actor store.Actor, k store.DeviceCheck, draft *store.Profile, tag string) (store.DeviceCheck, error)
	DeviceChecks(ctx context.Context, device string) ([]store.DeviceCheck, error)
	DeviceCheck(ctx context.Context, device, id string) (store.DeviceCheck, error)
}

type noticeStore interface {
	Notice(ctx context.Context, id string) (store.Notice, error)
	NoticesOf(ctx context.Context, caseID string) ([]store.Notice, error)
	MessagesOf(ctx context.Context, noticeID string) ([]store.Message, error)
	Attempts(ctx context.Context, message string) ([]store.Attempt, error)
	ResendNotice(ctx context.Context, actor store.Actor, id, reason string) error
	ChannelStates(ctx context.Context) ([]store.ChannelState, error)
	NoticePreferences(ctx context.Context, account string) (notice.Preferences, error)
	SetNoticePreferences(ctx context.Context, actor store.Actor, account string, p notice.Preferences) error
	Acknowledge(ctx context.Context, actor store.Actor, caseID string, version int) (store.Acknowledgement, error)
	Acknowledgements(ctx context.Context, caseID string) ([]store.Acknowledgement, error)
}

type recomputeStore interface {
	Recompute(ctx context.Context, actor store.Actor, r store.Recomputation) (store.Recomputation, error)
	Recomputation(ctx context.Context, id string) (store.Recomputation, error)
	Recomputations(ctx context.Context, after string, limit int) ([]store.Recomputation, error)
	Differences(ctx context.Context, id, after string, limit int) ([]store.Difference, error)
}

type summaryStore interface {
	monthly.Store
	listing.Source
	PeerReviews(ctx context.Context, caseID string) ([]store.PeerReview, error)
	ReviewCase(ctx context.Context, actor store.Actor, caseID string, version int, state summary.ReviewState, reason string) (store.PeerReview, error)
	Action(ctx context.Context, id string) (store.PeriodAction, error)
	ActionHistory(ctx context.Context, id string) ([]store.ActionEvent, error)
	AgreeAction(ctx context.Context, actor store.Actor, a store.PeriodAction) (store.PeriodAction, error)
	ChangeAction(ctx context.Context, actor store.Actor, id, event, text, due string) (store.PeriodAction, error)
	FreezeBaseline(ctx context.Context, actor store.Actor, b trend.Baseline, reason string) (store.FrozenBaseline, error)
	EndBaseline(ctx context.Context, actor store.Actor, chart, reason string) error
}

type auditStore interface {
	Note(ctx context.Context, actor store.Actor, r audit.Record) error
	Viewed(ctx context.Context, actor store.Actor, action, object, patient string) error
	Audit(ctx context.Context, f store.AuditFilter) ([]audit.Record, error)
	AuditRecords(ctx context.Context) iter.Seq2[audit.Record, error]
	ReadAnchor(name string) (*audit.Head, error)
}
