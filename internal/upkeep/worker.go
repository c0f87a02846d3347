package upkeep

import (
	"context"
	"errors"
	"log/slog"
	"time"

	"afterbeam/internal/store"
)

// The times of a Worker. The first look comes after the service has started and settled; what failed is tried again after a while.
const (
	lookEvery      = time.Minute
	retryAfter     = time.Hour
	retentionEvery = 24 * time.Hour
)

// Certificate is one that the service shows.
type Certificate struct {
	Name string
	Ends time.Time
}

// Worker does the upkeep of a store within the service that serves it, and knows how it stands.
type Worker struct {
	Store        *store.DB
	StoreDir     string
	Backups      Backups
	Retention    store.Retention
	ChainEvery   time.Duration
	Certificates []Certificate
	Program      string
	Started      time.Time
	Now          func() time.Time
	Log          *slog.Logger
	// Fatal is told of a failed fsync of the store; it must end the process.
	Fatal func(error)
}

// Run looks every minute for what is due until ctx ends.
func (w *Worker) Run(ctx context.Context) {
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			w.Look(ctx)
		}
	}
}

// Look does what is due now, one after the other.
func (w *Worker) Look(ctx context.Context) {
	for _, work := range []struct {
		kind  store.Upkeep
		every time.Duration
		do    func() (string, error)
	}{
		{store.ChainRun, w.ChainEvery, func() (string, error) { return CheckChain(ctx, w.Store) }},
		{store.BackupRun, w.Backups.Every, func() (string, error) { return w.Backups.Make(ctx, w.Store, w.Program, w.Now) }},
		{store.RetentionRun, retentionEvery, func() (string, error) { _, err := Retain(ctx, w.Store, w.Retention, false); return "", err }},
	} {
		if work.kind == store.BackupRun && w.Backups.Dir == "" {
			continue
		}
		due, err := w.due(ctx, work.kind, work.every)
		if err == nil && !due {
			continue
		}
		detail := ""
		if err == nil {
			detail, err = work.do()
		}
		w.told(ctx, work.kind, detail, err)
	}
}

func (w *Worker) told(ctx context.Context, kind store.Upkeep, detail string, err error) {
	switch {
	case err == nil:
		w.Log.Info("upkeep", "kind", kind, "detail", detail)
	case ctx.Err() != nil:
	case errors.Is(err, store.ErrFatal):
		w.Fatal(err)
	default:
		w.Log.Error("upkeep failed", "kind", kind, "error", err)
	}
}

// due tells whether a kind of work is to be done now.
func (w *Worker) due(ctx context.Context, kind store.Upkeep, every time.Duration) (bool, error) {
	runs, err := w.Store.Runs(ctx, kind, 1)
	if err != nil || len(runs) == 0 {
		return err == nil, err
	}
	after := every
	if !runs[0].Sound() {
		after = min(every, retryAfter)
	} else if kind == store.BackupRun {
		// Somebody may have taken the backups away, or the folder; making one says why it cannot be.
		if all, err := w.Backups.List(); err != nil || len(all) == 0 {
			return true, nil
		}
	}
	return !w.Now().Before(runs[0].BegunAt.Add(after)), nil
}
