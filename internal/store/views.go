package store

import (
	"context"
	"fmt"
	"sync"
	"time"

	"afterbeam/internal/audit"
)

// maxGroup bounds how long the commit of one group takes.
const maxGroup = 1000

// viewer commits the audit records of views in groups, each before its view is answered. A group is what came while the
// one before was committed: nobody waits for company, and the more ask at once the more share one fsync.
type viewer struct {
	db      *DB
	pending chan pendingView
	closing chan struct{}
	once    sync.Once
	done    sync.WaitGroup
}

type pendingView struct {
	record audit.Record
	result chan error
}

func newViewer(db *DB) *viewer {
	v := &viewer{db: db, pending: make(chan pendingView), closing: make(chan struct{})}
	v.done.Go(v.run)
	return v
}

func (v *viewer) stop() {
	v.once.Do(func() { close(v.closing) })
	v.done.Wait()
}

// run gathers the views that wait and commits them together.
func (v *viewer) run() {
	for {
		select {
		case first := <-v.pending:
			group := v.gather(first)
			err := v.commit(group)
			for _, p := range group {
				p.result <- err
			}
		case <-v.closing:
			return
		}
	}
}

// gather takes the views that wait behind the first one.
func (v *viewer) gather(first pendingView) []pendingView {
	group := []pendingView{first}
	for len(group) < maxGroup {
		select {
		case next := <-v.pending:
			group = append(group, next)
		default:
			return group
		}
	}
	return group
}

func (v *viewer) commit(group []pendingView) error {
	// The group outlives any one request in it, so it has a time limit of its own.
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	return v.db.change(ctx, Actor{}, func(c *change) error {
		for _, p := range group {
			if err := c.note(ctx, p.record); err != nil {
				return err
			}
		}
		return nil
	})
}

// Viewed records that an actor is about to be shown something of a patient; it returns once that is durable. The view
// is not answered when it fails. When ctx ends while it waits, the record may or may not have been made.
func (db *DB) Viewed(ctx context.Context, actor Actor, action, object, patient string) error {
	p := pendingView{
		record: audit.Record{
			Actor: actor.Account, Role: actor.Role, Session: actor.Session, Source: actor.Source,
			Action: action, Object: object, Patient: patient,
		},
		result: make(chan error, 1),
	}
	select {
	case db.views.pending <- p:
	case <-db.views.closing:
		return fmt.Errorf("%w: the store is closed", ErrUnavailable)
	case <-ctx.Done():
		return ctx.Err()
	}
	select {
	case err := <-p.result:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}
