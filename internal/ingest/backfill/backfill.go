package backfill

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"afterbeam/internal/ingest"
	"afterbeam/internal/store"
	"afterbeam/internal/store/object"
)

// DefaultKeepers is how many files are kept at the same time: the storage makes one durable while the next is read.
const DefaultKeepers = 2

// Keeper makes one received object durable, to be read when nothing that arrives now is left, and says what it is.
// ingest.Keeper is one.
type Keeper interface {
	KeepForLater(ctx context.Context, actor store.Actor, door string, body io.Reader) (store.Receipt, ingest.Answer, error)
}

// Config says what is taken in.
type Config struct {
	Dir    string
	Keeper Keeper
	// Journal is the file that lists what is done; "" keeps none.
	Journal string
	// Refused gets a line of CSV, path and reason, for each file that was not kept or went to quarantine; nil is nobody.
	Refused io.Writer
	// Progress is told after each file how many of the folder's files are done, and of how many bytes; nil is nobody. Calls
	// do not overlap.
	Progress func(done, total int, bytes int64)
	// Keepers is DefaultKeepers when 0.
	Keepers int
	// Patience is how long the run waits for a storage that takes nothing before it gives up; 0 is five minutes.
	Patience time.Duration
}

// Counts says what became of the files.
type Counts struct {
	// Files is how many there are; Passed those that the journal has as done.
	Files, Passed int
	// New, Again and Quarantined were kept; Refused and Unreadable were not.
	New, Again, Quarantined, Refused, Unreadable int
	Bytes                                        int64
}

// Run takes in every file of the folder. It returns what was done also with an error: of the folder, of the journal, or
// of a storage that takes nothing; then run it again.
func Run(ctx context.Context, cfg Config) (_ Counts, err error) {
	if cfg.Keepers == 0 {
		cfg.Keepers = DefaultKeepers
	}
	if cfg.Patience == 0 {
		cfg.Patience = 5 * time.Minute
	}
	root, err := os.OpenRoot(cfg.Dir)
	if err != nil {
		return Counts{}, fmt.Errorf("open folder: %w", err)
	}
	defer func() { err = errors.Join(err, root.Close()) }()
	r := &run{cfg: cfg, root: root}
	if cfg.Refused != nil {
		r.refused = csv.NewWriter(cfg.Refused)
	}
	if err := walk(ctx, root, func(string, fs.FileInfo) error {
		r.counts.Files++
		return nil
	}); err != nil {
		return r.counts, fmt.Errorf("count files: %w", err)
	}
	if r.journal, err = openJournal(cfg.Journal); err != nil {
		return r.counts, fmt.Errorf("open journal: %w", err)
	}
	err = r.files(ctx)
	return r.counts, errors.Join(err, r.journal.close())
}

// run is one back-fill under way.
type run struct {
	cfg  Config
	root *os.Root

	mu      sync.Mutex
	counts  Counts
	done    int
	journal *journal
	refused *csv.Writer
}

// found is a file to be kept.
type found struct {
	name string
	info fs.FileInfo
}

// files walks the folder and hands its files to the keepers.
func (r *run) files(ctx context.Context) error {
	group, ctx := errgroup.WithContext(ctx)
	queue := make(chan found)
	group.Go(func() error {
		defer close(queue)
		return walk(ctx, r.root, func(name string, info fs.FileInfo) error {
			if r.passed(name, info) {
				return nil
			}
			select {
			case queue <- found{name, info}:
				return nil
			case <-ctx.Done():
				return ctx.Err()
			}
		})
	})
	for range r.cfg.Keepers {
		group.Go(func() error {
			for f := range queue {
				if err := r.file(ctx, f); err != nil {
					return err
				}
			}
			return nil
		})
	}
	return group.Wait()
}

// passed counts a file that the journal has.
func (r *run) passed(name string, info fs.FileInfo) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	if !r.journal.has(name, info) {
		return false
	}
	r.counts.Passed++
	r.step(info.Size())
	return true
}

// step tells of one more file; the lock is held.
func (r *run) step(bytes int64) {
	r.done++
	r.counts.Bytes += bytes
	if r.cfg.Progress != nil {
		// A file that came after the count makes the total larger.
		r.cfg.Progress(r.done, max(r.counts.Files, r.done), r.counts.Bytes)
	}
}

// file keeps one file and notes the answer. An error ends the run.
func (r *run) file(ctx context.Context, f found) error {
	receipt, answer, err := r.keep(ctx, f.name)
	r.mu.Lock()
	defer r.mu.Unlock()
	var unreadable *sourceError
	switch {
	case errors.Is(err, ingest.ErrRefused), errors.Is(err, object.ErrTooLarge):
		r.counts.Refused++
		err = r.list(f.name, err.Error())
	case errors.As(err, &unreadable):
		r.counts.Unreadable++
		err = r.list(f.name, unreadable.Error())
	case err != nil:
		return err
	case answer == ingest.Quarantined:
		r.counts.Quarantined++
		err = errors.Join(r.list(f.name, "quarantined: "+receipt.Reason), r.journal.add(f.name, f.info))
	case answer == ingest.Again:
		r.counts.Again++
		err = r.journal.add(f.name, f.info)
	default:
		r.counts.New++
		err = r.journal.add(f.name, f.info)
	}
	r.step(f.info.Size())
	return err
}

// list writes a file that was not kept, or is of no use.
func (r *run) list(name, reason string) error {
	if r.refused == nil {
		return nil
	}
	if err := r.refused.Write([]string{name, reason}); err != nil {
		return fmt.Errorf("list a refused file: %w", err)
	}
	r.refused.Flush()
	return r.refused.Error()
}

const door = "back-fill"

// keep hands a file on, and waits while the storage takes nothing.
func (r *run) keep(ctx context.Context, name string) (receipt store.Receipt, answer ingest.Answer, err error) {
	const firstPause, longestPause = 100 * time.Millisecond, 10 * time.Second
	pause := firstPause
	for waited := time.Duration(0); ; waited += pause {
		receipt, answer, err = r.once(ctx, name)
		if !errors.Is(err, store.ErrUnavailable) || waited >= r.cfg.Patience {
			return receipt, answer, err
		}
		pause = min(2*pause, longestPause)
		timer := time.NewTimer(pause)
		select {
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
			return receipt, answer, ctx.Err()
		}
	}
}

func (r *run) once(ctx context.Context, name string) (receipt store.Receipt, answer ingest.Answer, err error) {
	file, err := r.root.Open(name)
	if err != nil {
		return receipt, answer, &sourceError{err}
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	return r.cfg.Keeper.KeepForLater(ctx, store.Actor{Account: door, Role: "service", Source: r.cfg.Dir}, door, source{file})
}

// source marks the errors of reading a file, so that they are told from those of the storage.
type source struct{ file io.Reader }

// Read reads the file.
func (s source) Read(p []byte) (int, error) {
	n, err := s.file.Read(p)
	if err != nil && !errors.Is(err, io.EOF) {
		err = &sourceError{err}
	}
	return n, err
}

type sourceError struct{ cause error }

// Error says that the file and not the storage failed.
func (e *sourceError) Error() string { return "cannot be read: " + e.cause.Error() }

// Unwrap gives the cause.
func (e *sourceError) Unwrap() error { return e.cause }
