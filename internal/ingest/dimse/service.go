package dimse

import (
	"context"
	"errors"
	"io"
	"slices"
	"time"

	"golang.org/x/sync/semaphore"

	"afterbeam/internal/ingest"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
	"afterbeam/internal/store/object"
)

// Service is what peers may ask for of one SOP class.
type Service struct {
	SOPClass string
	Name     string // of the SOP class, for people
	// Transfer lists the accepted transfer syntaxes, the most wanted first.
	Transfer []string
	// SCU says that the role of the user is taken too, when the peer offers to be the provider.
	SCU bool
	// Outcomes lists the statuses that the handlers answer, for the conformance statement.
	Outcomes []Outcome
	// Handlers answer the messages of the class. Every other message is answered as unrecognised.
	Handlers map[upper.Field]Handler
}

// Outcome is a status and when it is answered.
type Outcome struct {
	Status  upper.Status
	Meaning string
}

// Call is one message of a peer.
type Call struct {
	Peer    Peer
	Message *upper.Message
	// Association is where the message came. Only a Reply's Then may send on it.
	Association *upper.Association
}

// Reply is the answer to a call.
type Reply struct {
	Status upper.Status
	// Comment explains a status that is not success, without patient data; 64 characters arrive.
	Comment string
	// Data is the data set of the answer in the transfer syntax of the call's context, nil for none.
	Data io.Reader
	// Instance is the affected SOP instance, where it is not that of the request.
	Instance string
	// Then is called when the answer was sent, to send requests of our own on the same association; nil for nothing.
	Then func(ctx context.Context, a *upper.Association) error
}

// Handler answers a call. An error means that the association broke while the data set was read: nothing is answered.
type Handler func(ctx context.Context, c Call) (Reply, error)

// everyTransfer lists the transfer syntaxes that the reader of reports knows, the most wanted first.
func everyTransfer() []string {
	return []string{upper.ExplicitLittle, upper.ImplicitLittle, upper.ExplicitBig, upper.DeflatedLittle}
}

// Verification answers C-ECHO (PS3.4 annex A).
func Verification() Service {
	return Service{
		SOPClass: upper.Verification, Name: "Verification", Transfer: []string{upper.ImplicitLittle, upper.ExplicitLittle, upper.ExplicitBig},
		Outcomes: []Outcome{{upper.Success, "always"}},
		Handlers: map[upper.Field]Handler{upper.CEcho: func(context.Context, Call) (Reply, error) { return Reply{}, nil }},
	}
}

// storageClasses are the SOP classes in which projection X-ray dose reports come: their own two, and the general ones
// into which some archives convert them (PS3.4 annex B.5). Basic Text SR is not among them, since it holds no numbers.
func storageClasses() [][2]string {
	return [][2]string{
		{"1.2.840.10008.5.1.4.1.1.88.67", "X-Ray Radiation Dose SR Storage"},
		{"1.2.840.10008.5.1.4.1.1.88.76", "Enhanced X-Ray Radiation Dose SR Storage"},
		{"1.2.840.10008.5.1.4.1.1.88.22", "Enhanced SR Storage"},
		{"1.2.840.10008.5.1.4.1.1.88.33", "Comprehensive SR Storage"},
		{"1.2.840.10008.5.1.4.1.1.88.34", "Comprehensive 3D SR Storage"},
	}
}

// Keeper makes one received object durable and says what it is. ingest.Keeper is one.
type Keeper interface {
	KeepIf(ctx context.Context, actor store.Actor, door string, body io.Reader, fits func(dicomio.Identity) error) (store.Receipt, ingest.Answer, error)
	// KeepForLaterIf keeps what may wait to be read until nothing that arrives now is left.
	KeepForLaterIf(ctx context.Context, actor store.Actor, door string, body io.Reader, fits func(dicomio.Identity) error) (store.Receipt, ingest.Answer, error)
}

// Storage answers C-STORE (PS3.4 annex B) of dose reports with a keeper, with a bound on what is held in memory at once.
// What an archive sends because somebody asked it to (C-MOVE) is the past and may wait to be read.
func Storage(k Keeper) []Service { return storageWithin(k, heldAtOnce, patience) }

func storageWithin(k Keeper, held int64, patience time.Duration) []Service {
	s := &storage{k, semaphore.NewWeighted(held), patience}
	var all []Service
	for _, class := range storageClasses() {
		all = append(all, Service{
			SOPClass: class[0], Name: class[1], Transfer: everyTransfer(), Outcomes: storageOutcomes(),
			Handlers: map[upper.Field]Handler{upper.CStore: s.store},
		})
	}
	return all
}

// refusals is this door's only table from reasons why an object is not kept to statuses. Any other reason is that storage
// or memory takes nothing now.
func refusals() []refusal {
	return []refusal{
		{errClass, upper.StatusClassUnknown, "SOP class is not that of the presentation context"},
		{errInstance, upper.StatusInvalidInstance, "SOP instance is no UID"},
		{errMismatch, upper.StatusMismatch, "data set is not the SOP instance of the command"},
		{ingest.ErrRefused, upper.StatusNotUnderstood, "not understood as a DICOM data set"},
		{object.ErrTooLarge, upper.StatusNotUnderstood, "data set is too large"},
		{upper.ErrTooLarge, upper.StatusNotUnderstood, "data set is too large"},
		{errNoData, upper.StatusNotUnderstood, "no data set"},
	}
}

type refusal struct {
	kind    error
	status  upper.Status
	comment string
}

const (
	commentLater    = "not stored, send again later"
	commentUnusable = "stored, but no usable dose report"
)

// storageOutcomes lists what a C-STORE may be answered.
func storageOutcomes() []Outcome {
	all := []Outcome{
		{upper.Success, "stored, or the same as before"},
		{upper.StatusNotMatching, commentUnusable},
		{upper.StatusNoResources, commentLater},
	}
	for _, row := range refusals() {
		if one := (Outcome{row.status, "not stored: " + row.comment}); !slices.Contains(all, one) {
			all = append(all, one)
		}
	}
	return all
}

// Status gives the answer to a C-STORE by what became of the object.
func Status(became store.ReceiptState, err error) (upper.Status, string) {
	for _, row := range refusals() {
		if errors.Is(err, row.kind) {
			return row.status, row.comment
		}
	}
	switch {
	case err != nil: // the bytes were not kept, whatever the reason, so the sender must send again
		return upper.StatusNoResources, commentLater
	case became == store.ReceiptQuarantined, became == store.ReceiptDiscarded:
		return upper.StatusNotMatching, commentUnusable
	}
	return upper.Success, ""
}
