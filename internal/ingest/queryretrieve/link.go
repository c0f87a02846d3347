package queryretrieve

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/netip"
	"slices"
	"time"

	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/report/dicomio"
)

// Errors that end a run.
var (
	// ErrUnwilling marks an archive that refuses for good: it does not know a title, or lacks a service.
	ErrUnwilling = errors.New("archive refuses")
	// ErrUnreachable marks an archive of which too many requests in a row failed.
	ErrUnreachable = errors.New("archive does not answer as it should")
)

var (
	// errNoAssociation tells that all attempts at an association failed.
	errNoAssociation = errors.New("no association")
	errBroke         = errors.New("association broke")
)

// link is the association with the archive, made when it is needed.
type link struct {
	cfg     *Config
	storage []dimse.Service
	a       *upper.Association // nil for none
	peer    dimse.Peer
	// moves tells that the archive turned out not to do C-GET.
	moves bool
}

const (
	firstPause   = time.Second
	longestPause = time.Minute
)

// open makes the association when there is none, in some attempts.
func (l *link) open(ctx context.Context) error {
	pause := firstPause
	for try := 1; l.a == nil; try++ {
		err := l.dial(ctx)
		var rejected *upper.Rejection
		switch {
		case err == nil:
			return nil
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.As(err, &rejected) && !rejected.Transient():
			return fmt.Errorf("%w: %w", ErrUnwilling, err)
		case try >= l.cfg.Attempts:
			return fmt.Errorf("%w: %w", errNoAssociation, err)
		}
		if err := l.cfg.Sleep(ctx, pause); err != nil {
			return err
		}
		pause = min(2*pause, longestPause)
	}
	return nil
}

func (l *link) dial(ctx context.Context) (err error) {
	a, err := l.cfg.Requestor.Dial(ctx, l.cfg.Address, l.cfg.Title, proposals(l.storage))
	if err != nil {
		return err
	}
	l.a = a
	l.peer = dimse.Peer{Title: l.cfg.Title, Log: l.cfg.Log.With("archive", l.cfg.Title)}
	if at, err := netip.ParseAddrPort(a.Conn().RemoteAddr().String()); err == nil {
		l.peer.Address = at.Addr().Unmap()
	}
	return nil
}

// drop ends a broken association.
func (l *link) drop() {
	if l.a != nil {
		l.a.Abort()
		l.a = nil
	}
}

// release ends the association in order; what an archive does with the release is its own.
func (l *link) release() {
	if l.a != nil {
		_ = l.a.Release()
		l.a = nil
	}
}

// request sends a request and hands what comes back to take until the final answer, which it gives.
func (l *link) request(ctx context.Context, c upper.Command, identifier dicomio.DataSet, take func(*upper.Message) error) (final upper.Command, err error) {
	defer func() {
		if err != nil {
			l.drop()
		}
	}()
	context, ok := l.a.Find(c.AffectedClass)
	if !ok {
		return final, fmt.Errorf("%w: no presentation context for SOP class %s", ErrUnwilling, c.AffectedClass)
	}
	body, err := dicomio.Encode(identifier, context.Transfer)
	if err != nil {
		return final, err
	}
	c.MessageID, c.Priority = l.a.MessageID(), upper.PriorityLow
	if err := l.a.Send(context.ID, c, bytes.NewReader(body)); err != nil {
		return final, fmt.Errorf("%w: %w", errBroke, err)
	}
	for {
		m, err := l.a.Next(ctx)
		switch {
		case errors.Is(err, io.EOF):
			return final, errors.New("archive released the association instead of an answer")
		case err != nil:
			return final, fmt.Errorf("%w: %w", errBroke, err)
		case m.Command.Field == upper.CStore && c.Field == upper.CGet:
		case m.Command.Field != c.Field|0x8000 || m.Command.RespondedTo != c.MessageID:
			return final, fmt.Errorf("%w: message %v to %d instead of an answer to %v %d", upper.ErrProtocol, m.Command.Field, m.Command.RespondedTo, c.Field, c.MessageID)
		case !m.Command.Status.Pending():
			return m.Command, nil
		}
		if err := take(m); err != nil {
			return final, err
		}
	}
}

// mostAnswers bounds what one question may be answered with.
const mostAnswers = 100_000

// find asks one question and gives the answers. odd counts those that were not understood.
func (l *link) find(ctx context.Context, q question, values map[dicomio.Tag]string) (answers []Answer, odd int, err error) {
	if err := l.open(ctx); err != nil {
		return nil, 0, err
	}
	final, err := l.request(ctx, upper.Command{Field: upper.CFind, AffectedClass: findClass}, q.identifier(values), func(m *upper.Message) error {
		if len(answers)+odd == mostAnswers {
			return fmt.Errorf("more than %d answers to one question", mostAnswers)
		}
		if m.Data == nil {
			odd++
			return nil
		}
		raw, err := io.ReadAll(io.LimitReader(m.Data, longestAnswer+1))
		if err != nil {
			return err
		}
		one, err := ReadAnswer(raw, m.Context.Transfer)
		if err != nil {
			l.peer.Log.Warn("answer of the archive passed over", "level", q.Level, "error", err)
			odd++
			return nil
		}
		answers = append(answers, one)
		return nil
	})
	switch {
	case err != nil:
		return nil, 0, err
	case final.Status != upper.Success:
		return nil, 0, refused{final.Status}
	}
	return answers, odd, nil
}

// gets tells whether a class, or any where it is "", can be had by C-GET.
func (l *link) gets(class string) bool {
	if _, ok := l.a.Find(getClass); !ok || l.moves || l.cfg.By == ByMove {
		return false
	}
	return slices.ContainsFunc(l.a.Contexts(), func(c upper.Context) bool {
		return c.SCP && (c.Abstract == class || class == "")
	})
}

// mostSent bounds the C-STOREs of a C-GET for one object.
const mostSent = 100

// get has one object sent on the association. ours is why it was not kept here, "" where it was or did not come.
func (l *link) get(ctx context.Context, values map[dicomio.Tag]string) (final upper.Command, ours string, err error) {
	sent := 0
	final, err = l.request(ctx, upper.Command{Field: upper.CGet, AffectedClass: getClass}, object().identifier(values), func(m *upper.Message) error {
		if m.Command.Field != upper.CStore {
			return nil
		}
		if sent++; sent > mostSent {
			return fmt.Errorf("more than %d objects sent where one was asked for", mostSent)
		}
		reply, err := l.answer(ctx, m)
		if reply.Status.Failed() && m.Command.AffectedInstance == values[tagSOPInstance] {
			ours = fmt.Sprintf("not kept here, answered %v: %s", reply.Status, reply.Comment)
		}
		if err != nil {
			err = fmt.Errorf("%w: %w", errBroke, err)
		}
		return err
	})
	return final, ours, err
}

// answer answers a C-STORE of a C-GET.
func (l *link) answer(ctx context.Context, m *upper.Message) (dimse.Reply, error) {
	reply, err := l.store(ctx, m)
	if err != nil {
		return reply, err
	}
	if err := l.a.Skip(); err != nil {
		return reply, err
	}
	response := m.Command.Respond(reply.Status)
	response.Comment = reply.Comment
	return reply, l.a.Send(m.Context.ID, response, nil)
}

// store hands a C-STORE to the door's own handler.
func (l *link) store(ctx context.Context, m *upper.Message) (dimse.Reply, error) {
	for _, s := range l.storage {
		if handle := s.Handlers[upper.CStore]; s.SOPClass == m.Context.Abstract && handle != nil && m.Context.SCP {
			return handle(ctx, dimse.Call{Peer: l.peer, Message: m, Association: l.a})
		}
	}
	return dimse.Reply{Status: upper.StatusClassUnknown, Comment: "SOP class not agreed for C-GET"}, nil
}

// move has one object sent to the door.
func (l *link) move(ctx context.Context, values map[dicomio.Tag]string) (upper.Command, error) {
	c := upper.Command{Field: upper.CMove, AffectedClass: moveClass, Destination: l.cfg.Destination}
	return l.request(ctx, c, object().identifier(values), func(*upper.Message) error { return nil })
}
