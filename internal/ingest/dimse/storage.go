package dimse

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"golang.org/x/sync/semaphore"

	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// DoorName is this door in receipts and in the audit record.
const DoorName = "dicom"

// The kinds of refusal of this door's own.
var (
	errClass    = errors.New("SOP class of another presentation context")
	errInstance = errors.New("SOP instance is no UID")
	errNoData   = errors.New("no data set")
	errMismatch = errors.New("SOP class or instance of the data set is not that of the command")
)

// An object is held in memory until it is on stable storage. Senders together may have so many bytes there; one that has
// to wait for too long is told to come again.
const (
	heldAtOnce = 256 << 20
	heldStep   = 1 << 20
	patience   = 10 * time.Second
)

type storage struct {
	keeper   Keeper
	held     *semaphore.Weighted
	patience time.Duration
}

// store answers a C-STORE-RQ.
func (s *storage) store(ctx context.Context, c Call) (Reply, error) {
	receipt, broken, err := s.keep(ctx, c)
	if broken != nil {
		return Reply{}, broken
	}
	status, comment := Status(receipt.State, err)
	reply := Reply{Status: status, Comment: comment}
	if err != nil && status == upper.StatusNoResources {
		c.Peer.Log.Error("object not kept", "status", status.String(), "error", err)
	} else if status != upper.Success {
		c.Peer.Log.Warn("object not a usable dose report", "status", status.String(), "sop_instance", shownUID(c.Message.Command.AffectedInstance), "error", err)
	}
	return reply, nil
}

// keep hands an object to the keeper. broken is the failure of the association, of which nothing can be answered.
func (s *storage) keep(ctx context.Context, c Call) (receipt store.Receipt, broken, err error) {
	m := c.Message
	switch {
	case m.Command.AffectedClass != m.Context.Abstract:
		return receipt, nil, errClass
	case m.Data == nil:
		return receipt, nil, errNoData
	}
	front, err := dicomio.Front(m.Command.AffectedClass, m.Command.AffectedInstance, m.Context.Transfer)
	if err != nil {
		return receipt, nil, errInstance
	}
	body := &incoming{data: m.Data, more: func() error { return s.room(ctx) }}
	defer func() { s.held.Release(body.taken) }()
	whole := io.MultiReader(bytes.NewReader(front), body)
	keep := s.keeper.KeepIf
	if m.Command.OriginatorTitle != "" { // a sub-operation of a C-MOVE (PS3.7 9.1.1.1.8)
		keep = s.keeper.KeepForLaterIf
	}
	receipt, _, err = keep(ctx, c.Peer.Actor(), DoorName, whole, func(id dicomio.Identity) error { return announced(m.Command, id) })
	if body.failed != nil && !errors.Is(body.failed, upper.ErrTooLarge) && !errors.Is(body.failed, errHeld) {
		return receipt, body.failed, nil
	}
	return receipt, nil, err
}

// announced compares an object with the command that it came with. What stands in the file meta alone is our own.
func announced(c upper.Command, id dicomio.Identity) error {
	switch {
	case !id.InDataSet:
		return errors.New("no SOP class or SOP instance UID in the data set")
	case id.SOPClassUID != c.AffectedClass || id.SOPInstanceUID != c.AffectedInstance:
		return errMismatch
	}
	return nil
}

// errHeld tells that too much of others is held in memory.
var errHeld = fmt.Errorf("%w: too many objects under way", store.ErrUnavailable)

// room waits until one more step may be held in memory.
func (s *storage) room(ctx context.Context) error {
	waiting, stop := context.WithTimeout(ctx, s.patience)
	defer stop()
	if s.held.Acquire(waiting, heldStep) != nil {
		return errHeld
	}
	return nil
}

// incoming is a data set on its way into memory, step by step within the bound on all of them.
type incoming struct {
	data   io.Reader
	more   func() error // waits for room for one more step
	taken  int64        // of the bound
	read   int64
	failed error
}

// Read reads on once there is room for it.
func (i *incoming) Read(p []byte) (int, error) {
	if i.read >= i.taken {
		if i.failed = i.more(); i.failed != nil {
			return 0, i.failed
		}
		i.taken += heldStep
	}
	n, err := i.data.Read(p[:min(int64(len(p)), i.taken-i.read)])
	i.read += int64(n)
	if err != nil && !errors.Is(err, io.EOF) {
		i.failed = err
	}
	return n, err
}

// shownUID gives a UID for the log, or a stand-in: what is none might be anything, even a name.
func shownUID(uid string) string {
	if _, err := dicomio.Front(uid, uid, uid); err != nil {
		return "not a UID"
	}
	return uid
}
