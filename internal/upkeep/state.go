package upkeep

import (
	"context"
	"errors"
	"slices"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/store"
)

// State is how the upkeep of a store stands.
type State struct {
	Program string
	Started time.Time
	Schema  int64
	Backups BackupState
	Disks   []Disk
	// Certificates are those of the HTTP interface.
	Certificates []Certificate
	Chain        ChainState
	// Runs are the latest of each kind.
	Runs []store.Run
	// Holds is how many are in force.
	Holds int
	// Problems says what could not be looked at.
	Problems []string
}

// BackupState is how backups stand.
type BackupState struct {
	Backups
	Kept   []Copy // newest first
	Late   time.Duration
	Failed bool // the last run failed or was broken off
}

// ChainState is how the audit chain stands.
type ChainState struct {
	Head    audit.Head
	Checked bool // whether it was ever checked
	Sound   bool // whether the last check found it whole
	SoundAt time.Time
	Detail  string
}

// State looks at everything once.
func (w *Worker) State(ctx context.Context) (s State, err error) {
	s = State{Program: w.Program, Started: w.Started, Certificates: w.Certificates}
	if s.Schema, err = w.Store.SchemaVersion(ctx); err != nil {
		return s, err
	}
	latest := map[store.Upkeep]store.Run{}
	for _, kind := range []store.Upkeep{store.BackupRun, store.DrillRun, store.ChainRun, store.RetentionRun} {
		runs, err := w.Store.Runs(ctx, kind, 1)
		if err != nil {
			return s, err
		}
		if len(runs) > 0 {
			latest[kind] = runs[0]
		}
		s.Runs = append(s.Runs, runs...)
	}
	if s.Chain.Head, err = w.Store.AuditHead(ctx); err != nil {
		return s, err
	}
	if err := w.chain(ctx, &s.Chain); err != nil {
		return s, err
	}
	holds, err := w.Store.Holds(ctx)
	for _, h := range holds {
		if h.EndedAt.IsZero() {
			s.Holds++
		}
	}
	if err != nil {
		return s, err
	}
	w.disks(&s)
	return s, w.backups(ctx, &s, latest)
}

// chain tells what the last check of the chain found that came to an end.
func (w *Worker) chain(ctx context.Context, c *ChainState) error {
	runs, err := w.Store.Runs(ctx, store.ChainRun, 10)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(runs, func(r store.Run) bool { return !r.EndedAt.IsZero() })
	if i < 0 {
		return nil
	}
	c.Checked, c.Sound, c.Detail = true, runs[i].Sound(), runs[i].Detail
	sound, err := w.lastSound(ctx, store.ChainRun)
	c.SoundAt = sound.EndedAt
	return err
}

func (w *Worker) lastSound(ctx context.Context, kind store.Upkeep) (store.Run, error) {
	run, err := w.Store.LastSound(ctx, kind)
	if errors.Is(err, store.ErrNotFound) {
		return run, nil
	}
	return run, err
}

func (w *Worker) disks(s *State) {
	for _, d := range [][2]string{{"store", w.StoreDir}, {"backup", w.Backups.Dir}} {
		if d[1] == "" {
			continue
		}
		disk, err := diskOf(d[0], d[1])
		if err != nil {
			s.Problems = append(s.Problems, err.Error())
			continue
		}
		s.Disks = append(s.Disks, disk)
	}
}

// backups looks at the folder: what is there counts, whatever was once written.
func (w *Worker) backups(ctx context.Context, s *State, latest map[store.Upkeep]store.Run) error {
	s.Backups.Backups = w.Backups
	if w.Backups.Dir == "" {
		return nil
	}
	kept, err := w.Backups.List()
	if err != nil {
		s.Problems = append(s.Problems, err.Error())
	}
	s.Backups.Kept = kept
	from := w.Started
	if run, tried := latest[store.BackupRun]; tried {
		// A run that was begun before this start was broken off.
		s.Backups.Failed = run.Outcome == "failed" || run.Outcome == "begun" && run.BegunAt.Before(w.Started)
		sound, err := w.lastSound(ctx, store.BackupRun)
		if err != nil {
			return err
		}
		if !sound.BegunAt.IsZero() {
			from = sound.BegunAt.Add(w.Backups.Every)
		}
	}
	if len(kept) > 0 {
		from = kept[0].At.Add(w.Backups.Every)
	}
	s.Backups.Late = max(0, w.Now().Sub(from))
	return nil
}
