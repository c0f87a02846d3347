package store

import (
	"context"
	"sync"
	"time"

	"afterbeam/internal/audit"
)

// viewWindow is how long a view waits for others to be committed with it.
const viewWindow = 2 * time.Millisecond

// viewer commits the audit records of views in groups, each before its view is answered.
type viewer struct {
	db      *DB
	pending chan pendingView
	done    sync.WaitGroup
}

type pendingView struct {
	record audit.Record
	result chan error
}

func newViewer(db *DB) *viewer {
	v := &viewer{db: db, pending: make(chan pendingView)}
	v.done.Go(v.run)
	return v
}

func (v *viewer) stop() {
	close(v.pending)
	v.done.Wait()
}

// run gathers the views of one window and commits them together.
func (v *viewer) run() {
	for first := range v.pending {
		group := []pendingView{first}
		window := time.NewTimer(viewWindow)
	gather:
		for {
			select {
			case next, ok := <-v.pending:
				if !ok {
					break gather
				}
				group = append(group, next)
			case <-window.C:
				break gather
			}
		}
		window.Stop()
		err := v.commit(group)
		for _, p := range group {
			p.result <- err
		}
	}
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
// is not answered when it fails.
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
	case <-ctx.Done():
		return ctx.Err()
	}
	return <-p.result
}
