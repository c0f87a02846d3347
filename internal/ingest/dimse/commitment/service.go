package commitment

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"sync"
	"time"

	"afterbeam/internal/crashpoint"
	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// The SOP class and its well-known instance (PS3.4 J.3.5), and the numbers of its action and events.
const (
	SOPClass = "1.2.840.10008.1.20.1"
	instance = "1.2.840.10008.1.20.1.1"

	actionRequest   = 1
	eventComplete   = 1
	eventIncomplete = 2
)

// mostInstances bounds one question, longestQuestion its data set in bytes.
const (
	mostInstances   = 10_000
	longestQuestion = 4 << 20
)

// Store is the part of the store that the service needs. store.DB is one.
type Store interface {
	AskCommitment(ctx context.Context, actor store.Actor, c store.Commitment) (store.Commitment, error)
	PendingCommitments(ctx context.Context, peer string, limit int) ([]store.Commitment, error)
	CommitmentReported(ctx context.Context, c store.Commitment, outcome string) error
	CommitmentLater(ctx context.Context, id, reason string, due time.Time) error
	Kept(ctx context.Context, sopInstance string) ([]store.Receipt, error)
	Raw(digest string) ([]byte, error)
}

// Peer is where the answers for an AE title go.
type Peer struct {
	Title, Address string
	// Requestor makes the associations.
	Requestor upper.Requestor
}

// Config says how the service answers.
type Config struct {
	Store Store
	// Title is the service's own AE title, which objects can be retrieved from; Peers are those with an address.
	Title string
	Peers []Peer
	Log   *slog.Logger
	Now   func() time.Time
}

// Service keeps questions and delivers answers. Make one by New.
type Service struct {
	cfg   Config
	peers map[string]Peer
	wake  chan struct{}

	mu     sync.Mutex
	asking map[sent]answer // reports on associations of peers, whose answers are awaited
	busy   map[string]bool // peers that are being reported to, and whether more became due meanwhile
}

// sent names a request of ours on an association.
type sent struct {
	on *upper.Association
	id uint16
}

type answer struct {
	to      store.Commitment
	outcome string
}

// mostAsking bounds the reports whose answers are awaited; those forgotten are sent again.
const mostAsking = 1000

// New makes the service.
func New(cfg Config) *Service {
	s := &Service{cfg: cfg, peers: map[string]Peer{}, wake: make(chan struct{}, 1), asking: map[sent]answer{}, busy: map[string]bool{}}
	for _, p := range cfg.Peers {
		s.peers[p.Title] = p
	}
	return s
}

// Transfer syntaxes of questions and answers.
func transfers() []string { return []string{upper.ExplicitLittle, upper.ImplicitLittle} }

// Offer gives the service as the door offers it.
func (s *Service) Offer() dimse.Service {
	return dimse.Service{
		SOPClass: SOPClass, Name: "Storage Commitment Push Model", Transfer: transfers(), Outcomes: outcomes(),
		Handlers: map[upper.Field]dimse.Handler{upper.NAction: s.ask, upper.NEventReportRsp: s.taken},
	}
}

// The kinds of refusal of a question.
var (
	errInstance = errors.New("requested SOP instance is not the well-known one")
	errAction   = errors.New("no such action")
	errData     = errors.New("data set not understood")
	errMissing  = errors.New("transaction UID or referenced objects missing, or named by what is no UID")
)

type refusal struct {
	kind    error
	status  upper.Status
	comment string
}

// refusals is the only table from reasons to statuses of an N-ACTION (PS3.7 10.1.4). Any other reason is that storage takes
// nothing now.
func refusals() []refusal {
	return []refusal{
		{errInstance, upper.StatusNoSuchInstance, "not the instance " + instance},
		{errAction, upper.StatusNoSuchAction, "action type wants to be 1"},
		{errMissing, upper.StatusInvalidArgument, "UIDs of transaction or objects missing, wrong or too many"},
		{store.ErrConflict, upper.StatusInvalidArgument, "transaction UID stands for another request"},
		{errData, upper.StatusProcessing, "data set not understood"},
	}
}

const commentLater = "not taken, ask again later"

func outcomes() []dimse.Outcome {
	all := []dimse.Outcome{{Status: upper.Success, Meaning: "the question is kept; the answer follows by N-EVENT-REPORT"}, {Status: upper.StatusLimited, Meaning: commentLater}}
	for _, row := range refusals() {
		all = append(all, dimse.Outcome{Status: row.status, Meaning: "not taken: " + row.comment})
	}
	return all
}

// Reasons lists why an object may not be committed to, (0008,1197) of the answer (PS3.3 C.14).
func Reasons() []dimse.Outcome {
	return []dimse.Outcome{
		{Status: upper.StatusNoSuchInstance, Meaning: "no object with this SOP instance UID is kept"},
		{Status: upper.StatusConflict, Meaning: "an object with this SOP instance UID is kept, of another SOP class"},
		{Status: upper.StatusProcessing, Meaning: "the object is known, and its bytes cannot be read now or are not what they were"},
	}
}

// ask answers an N-ACTION: the question is on stable storage before that.
func (s *Service) ask(ctx context.Context, c dimse.Call) (dimse.Reply, error) {
	question, broken, err := read(c)
	if broken != nil {
		return dimse.Reply{}, broken
	}
	if err == nil {
		question, err = s.cfg.Store.AskCommitment(ctx, c.Peer.Actor(), question)
	}
	crashpoint.Reached(crashpoint.CommitmentAsked)
	if err != nil {
		status, comment := upper.StatusLimited, commentLater
		for _, row := range refusals() {
			if errors.Is(err, row.kind) {
				status, comment = row.status, row.comment
				break
			}
		}
		c.Peer.Log.Warn("storage commitment not taken", "status", status.String(), "error", err)
		return dimse.Reply{Status: status, Comment: comment}, nil
	}
	c.Peer.Log.Info("storage commitment asked for", "commitment", question.ID, "objects", len(question.Instances))
	if _, known := s.peers[c.Peer.Title]; known {
		return dimse.Reply{Then: func(context.Context, *upper.Association) error {
			s.Wake() // not before the peer has heard that its question was taken
			return nil
		}}, nil
	}
	return dimse.Reply{Then: func(ctx context.Context, a *upper.Association) error {
		return s.reportOn(ctx, a, c.Message.Context, c.Peer.Title)
	}}, nil
}

// read reads a question.
func read(c dimse.Call) (q store.Commitment, broken, err error) {
	m := c.Message
	switch action, _ := m.Command.Action.Get(); {
	case m.Command.RequestedInstance != instance:
		return q, nil, errInstance
	case action != actionRequest:
		return q, nil, errAction
	case m.Data == nil:
		return q, nil, errMissing
	}
	body, err := io.ReadAll(io.LimitReader(m.Data, longestQuestion+1))
	switch {
	case errors.Is(err, upper.ErrTooLarge), len(body) > longestQuestion:
		return q, nil, fmt.Errorf("%w: longer than %d bytes", errMissing, longestQuestion)
	case err != nil:
		return q, err, nil
	}
	front, err := dicomio.Front(SOPClass, instance, m.Context.Transfer)
	if err != nil {
		return q, nil, err
	}
	file, err := dicomio.Read(append(front, body...), dicomio.DefaultLimits())
	if err != nil {
		return q, nil, fmt.Errorf("%w: %w", errData, err)
	}
	q = store.Commitment{Peer: c.Peer.Title, TransactionUID: file.Data.Text(tagTransaction)}
	for _, item := range file.Data.Items(tagReferenced) {
		q.Instances = append(q.Instances, store.Reference{SOPClass: item.Text(tagClass), SOPInstance: item.Text(tagInstance)})
	}
	if len(q.Instances) == 0 || len(q.Instances) > mostInstances {
		return store.Commitment{}, nil, errMissing
	}
	// What is no UID may be anything, also a name: it is not kept.
	for _, r := range append([]store.Reference{{SOPClass: SOPClass, SOPInstance: q.TransactionUID}}, q.Instances...) {
		if _, err := dicomio.Front(r.SOPClass, r.SOPInstance, m.Context.Transfer); err != nil {
			return store.Commitment{}, nil, errMissing
		}
	}
	return q, nil, nil
}
