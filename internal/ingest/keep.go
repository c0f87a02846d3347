package ingest

import (
	"context"
	"errors"
	"fmt"
	"io"

	"afterbeam/internal/crashpoint"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
	"afterbeam/internal/store/object"
)

// ErrRefused marks an object that is not kept: no DICOM, over the limits, or without the UIDs that would name it. The
// text says what was found and what was expected.
var ErrRefused = errors.New("object refused")

// Answer is what became of an object at a door.
type Answer uint8

// The answers.
const (
	// Stored is a new dose report on stable storage.
	Stored Answer = iota
	// Again is the same bytes as before; nothing changed.
	Again
	// Quarantined is an object on stable storage that is no usable dose report.
	Quarantined
)

// Vault is the part of the store that Keep needs. store.DB is one.
type Vault interface {
	Receive(ctx context.Context, body io.Reader) (*object.Arrival, error)
	Accept(ctx context.Context, actor store.Actor, a store.Arrival) (store.Receipt, bool, error)
}

// Keeper makes received objects durable.
type Keeper struct {
	Vault  Vault
	Limits dicomio.Limits
	// Fatal is called when an fsync failed: it must end the process, because what is on the disk is not known any more.
	Fatal func(error)
	// Kept is told of every new object after its commit, so that work on it starts at once; it must not block.
	Kept func()
}

// Keep makes one received object durable and says what it is: the bytes go to a synced temporary file, are named by
// their digest in the object store, whose folder is synced, and one transaction holds receipt, job and audit record.
// Only then does it answer. It returns ErrRefused or object.ErrTooLarge for what is not kept, and
// store.ErrUnavailable when the storage cannot take anything now.
func (k *Keeper) Keep(ctx context.Context, actor store.Actor, door string, body io.Reader) (store.Receipt, Answer, error) {
	return k.kept(ctx, actor, door, body, store.Live, nil)
}

// KeepIf is Keep for a door that wants a say: fits is shown what the object says it is, as far as could be seen, before
// anything is kept, and its error refuses the object with ErrRefused.
func (k *Keeper) KeepIf(ctx context.Context, actor store.Actor, door string, body io.Reader, fits func(dicomio.Identity) error) (store.Receipt, Answer, error) {
	return k.kept(ctx, actor, door, body, store.Live, fits)
}

// KeepForLater is Keep for what may wait to be read until nothing that arrives now is left: the past.
func (k *Keeper) KeepForLater(ctx context.Context, actor store.Actor, door string, body io.Reader) (store.Receipt, Answer, error) {
	return k.kept(ctx, actor, door, body, store.Background, nil)
}

// KeepForLaterIf is KeepForLater for a door that wants a say, as with KeepIf.
func (k *Keeper) KeepForLaterIf(ctx context.Context, actor store.Actor, door string, body io.Reader, fits func(dicomio.Identity) error) (store.Receipt, Answer, error) {
	return k.kept(ctx, actor, door, body, store.Background, fits)
}

func (k *Keeper) kept(ctx context.Context, actor store.Actor, door string, body io.Reader, p store.Priority, fits func(dicomio.Identity) error) (store.Receipt, Answer, error) {
	receipt, answer, err := k.keep(ctx, actor, door, body, p, fits)
	if errors.Is(err, store.ErrFatal) || errors.Is(err, object.ErrSync) {
		k.Fatal(err)
	}
	if err == nil && answer == Stored {
		k.Kept()
	}
	crashpoint.Reached(crashpoint.BeforeAnswer)
	return receipt, answer, err
}

func (k *Keeper) keep(
	ctx context.Context, actor store.Actor, door string, body io.Reader, p store.Priority, fits func(dicomio.Identity) error,
) (r store.Receipt, answer Answer, err error) {
	arrival, err := k.Vault.Receive(ctx, body)
	if err != nil {
		return r, answer, err
	}
	defer func() { err = errors.Join(err, arrival.Drop()) }()
	a, err := k.judge(arrival, fits)
	if err != nil {
		return r, answer, err
	}
	a.Door, a.Source, a.Priority = door, actor.Source, p
	if err := arrival.Keep(); err != nil {
		return r, answer, fmt.Errorf("%w: %w", store.ErrUnavailable, err)
	}
	r, again, err := k.Vault.Accept(ctx, actor, a)
	switch {
	case err != nil:
		return r, answer, err
	case again:
		answer = Again
	case r.State == store.ReceiptQuarantined:
		answer = Quarantined
	}
	return r, answer, nil
}

// judge says what an object is by the guard's walk alone: a dose report to be read, something for quarantine, or
// nothing to be kept.
func (k *Keeper) judge(arrival *object.Arrival, fits func(dicomio.Identity) error) (store.Arrival, error) {
	a := store.Arrival{Digest: arrival.Digest, Size: int64(len(arrival.Bytes))}
	id, err := dicomio.Identify(arrival.Bytes, k.Limits)
	if fits != nil {
		if refusal := fits(id); refusal != nil {
			return a, fmt.Errorf("%w: %w", ErrRefused, refusal)
		}
	}
	if errors.Is(err, dicomio.ErrLimit) {
		return a, fmt.Errorf("%w: %w", ErrRefused, err)
	}
	if id.SOPClassUID == "" || id.SOPInstanceUID == "" {
		if err == nil {
			err = errors.New("no SOP class or SOP instance UID")
		}
		return a, fmt.Errorf("%w: wanted a DICOM dose report: %w", ErrRefused, err)
	}
	a.SOPClass, a.SOPInstance, a.StudyUID, a.SeriesUID, a.StudyDate = id.SOPClassUID, id.SOPInstanceUID, id.StudyUID, id.SeriesUID, id.StudyDate
	if err == nil {
		err = rdsr.Recognise(id)
	}
	if err != nil {
		a.Quarantine = err.Error()
	}
	return a, nil
}
