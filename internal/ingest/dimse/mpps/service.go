package mpps

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/performed"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// SOPClass is Modality Performed Procedure Step.
const SOPClass = "1.2.840.10008.3.1.2.3.3"

// longestStep bounds the data set of a step in bytes; real ones have some thousand.
const longestStep = 1 << 20

// Steps is the part of the store that the service needs. store.DB is one.
type Steps interface {
	CreateStep(ctx context.Context, actor store.Actor, s performed.Step) (id string, err error)
	SetStep(ctx context.Context, actor store.Actor, key string, edit func(*performed.Step) error) (id string, err error)
}

// Config says where steps go.
type Config struct {
	Steps Steps
	// Site is the zone of times, which steps give without an offset.
	Site *time.Location
	// Kept is told after each change, so that work on it starts at once; it must not block.
	Kept func()
}

type service struct{ Config }

// Service answers N-CREATE and N-SET.
func Service(cfg Config) dimse.Service {
	s := service{cfg}
	return dimse.Service{
		SOPClass: SOPClass, Name: "Modality Performed Procedure Step", Transfer: []string{upper.ExplicitLittle, upper.ImplicitLittle, upper.ExplicitBig},
		Outcomes: outcomes(),
		Handlers: map[upper.Field]dimse.Handler{upper.NCreate: s.create, upper.NSet: s.set},
	}
}

// The kinds of refusal of this service's own.
var (
	errInstance = errors.New("SOP instance is no UID")
	errData     = errors.New("data set not understood")
	errMissing  = errors.New("an attribute that is wanted is missing")
	errValue    = errors.New("an attribute has a value that is not allowed")
)

// refusals is this service's only table from reasons to statuses (PS3.4 F.7.2, PS3.7 10.1). Any other reason is that
// storage takes nothing now.
func refusals() []refusal {
	const invalidValue upper.Status = 0x0106
	return []refusal{
		{0, errInstance, upper.StatusInvalidInstance, "SOP instance is no UID"},
		{0, errData, upper.StatusNotUnderstood, "data set not understood"},
		{0, errMissing, upper.StatusMissing, "study, status or start of the step missing"},
		{0, errValue, invalidValue, "status wants IN PROGRESS, COMPLETED or DISCONTINUED"},
		{0, store.ErrNotFound, upper.StatusNoSuchInstance, "step is not known"},
		{upper.NCreate, store.ErrConflict, upper.StatusDuplicate, "step is known"},
		{upper.NSet, store.ErrConflict, upper.StatusProcessing, "step may no longer be updated"},
	}
}

type refusal struct {
	field   upper.Field // 0 is every message
	kind    error
	status  upper.Status
	comment string
}

const commentLater = "not stored, send again later"

// outcomes lists what an N-CREATE or N-SET may be answered.
func outcomes() []dimse.Outcome {
	all := []dimse.Outcome{{Status: upper.Success, Meaning: "stored"}, {Status: upper.StatusProcessing, Meaning: commentLater}}
	for _, row := range refusals() {
		all = append(all, dimse.Outcome{Status: row.status, Meaning: "not stored: " + row.comment})
	}
	return all
}

// Status gives the answer to an N-CREATE or N-SET by what became of the step.
func Status(field upper.Field, err error) (upper.Status, string) {
	if err == nil {
		return upper.Success, ""
	}
	for _, row := range refusals() {
		if errors.Is(err, row.kind) && (row.field == 0 || row.field == field) {
			return row.status, row.comment
		}
	}
	return upper.StatusProcessing, commentLater
}

func (s service) create(ctx context.Context, c dimse.Call) (dimse.Reply, error) {
	return s.take(c, func(key string, set dicomio.DataSet) error {
		step := performed.Step{Source: performed.SourceMPPS, Key: key}
		if err := s.apply(&step, set); err != nil {
			return err
		}
		if step.State != performed.InProgress {
			return fmt.Errorf("%w: a step begins in progress", errValue)
		}
		_, err := s.Steps.CreateStep(ctx, c.Peer.Actor(), step)
		return err
	})
}

func (s service) set(ctx context.Context, c dimse.Call) (dimse.Reply, error) {
	return s.take(c, func(key string, set dicomio.DataSet) error {
		_, err := s.Steps.SetStep(ctx, c.Peer.Actor(), key, func(step *performed.Step) error { return s.apply(step, set) })
		return err
	})
}

// take reads the data set of a message and answers by what do made of it.
func (s service) take(c dimse.Call, do func(key string, set dicomio.DataSet) error) (dimse.Reply, error) {
	command := c.Message.Command
	set, broken, err := read(c.Message)
	if broken != nil {
		return dimse.Reply{}, broken
	}
	if err == nil {
		err = do(command.Instance(), set)
	}
	status, comment := Status(command.Field, err)
	if err != nil {
		c.Peer.Log.Warn("performed step not taken", "message", command.Field.String(), "status", status.String(), "error", err)
	} else {
		s.Kept()
	}
	return dimse.Reply{Status: status, Comment: comment}, nil
}

// read reads the data set of a message. broken is the failure of the association, of which nothing can be answered.
func read(m *upper.Message) (set dicomio.DataSet, broken, err error) {
	front, err := dicomio.Front(m.Context.Abstract, m.Command.Instance(), m.Context.Transfer)
	if err != nil {
		return nil, nil, errInstance
	}
	if m.Data == nil {
		return nil, nil, fmt.Errorf("%w: there is none", errData)
	}
	body, err := io.ReadAll(io.LimitReader(m.Data, longestStep+1))
	switch {
	case errors.Is(err, upper.ErrTooLarge), len(body) > longestStep:
		return nil, nil, fmt.Errorf("%w: longer than %d bytes", errData, longestStep)
	case err != nil:
		return nil, err, nil
	}
	file, err := dicomio.Read(bytes.Join([][]byte{front, body}, nil), dicomio.DefaultLimits())
	if err != nil {
		return nil, nil, fmt.Errorf("%w: %w", errData, err)
	}
	return file.Data, nil, nil
}

// apply writes what a data set says into a step; what it leaves out stays as it is (PS3.4 F.7.2.2).
func (s service) apply(step *performed.Step, set dicomio.DataSet) error {
	w := writer{step: step, set: set, site: s.Site}
	w.patient()
	w.course()
	w.what()
	w.facts()
	w.totals()
	switch {
	case step.State == "", step.Start.IsZero(), step.StudyUID == "" && step.Accession == "" && step.Patient.Number == "":
		return errMissing
	case step.State != performed.InProgress && !step.State.Final():
		return errValue
	case step.End.Time.Before(step.Start.Time) && !step.End.IsZero():
		step.End = procedure.Moment{} // clocks of equipment: an end before the start says nothing
	}
	return nil
}
