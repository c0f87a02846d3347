package spool

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path"
	"strings"
	"time"

	"github.com/fsnotify/fsnotify"

	"afterbeam/internal/ingest"
	"afterbeam/internal/store"
)

// Defaults of Config.
const (
	// DefaultRest is how long a file must not change before it is taken.
	DefaultRest = 2 * time.Second
	// DefaultSweep is how often the whole folder is looked through, for what no notice came of.
	DefaultSweep = 30 * time.Second
)

// restsEmpty is how many times longer an empty file must rest: it may have been made to be filled later.
const restsEmpty = 30

// Keeper makes one received object durable and says what it is. ingest.Keeper is one.
type Keeper interface {
	Keep(ctx context.Context, actor store.Actor, door string, body io.Reader) (store.Receipt, ingest.Answer, error)
}

// Config says which folder is watched, and what for.
type Config struct {
	// Dir is made when missing. Keeper, Log and Now are required.
	Dir    string
	Keeper Keeper
	Log    *slog.Logger
	Now    func() time.Time
	// Rest and Sweep are DefaultRest and DefaultSweep when 0.
	Rest, Sweep time.Duration
}

// Folder is a watched folder.
type Folder struct {
	cfg  Config
	root *os.Root
	// waiting are the files that were seen and not yet taken.
	waiting map[string]state
}

// state is how a waiting file was seen last.
type state struct {
	size     int64
	modified time.Time
	since    time.Time // seen unchanged since
	renamed  bool      // it got its name when it was whole
}

// Run watches the folder until ctx ends. It returns an error only when the folder cannot be used at all.
func Run(ctx context.Context, cfg Config) (err error) {
	if cfg.Rest == 0 {
		cfg.Rest = DefaultRest
	}
	if cfg.Sweep == 0 {
		cfg.Sweep = DefaultSweep
	}
	if err := os.MkdirAll(cfg.Dir, 0o700); err != nil {
		return fmt.Errorf("make watched folder: %w", err)
	}
	root, err := os.OpenRoot(cfg.Dir)
	if err != nil {
		return fmt.Errorf("open watched folder: %w", err)
	}
	defer func() { err = errors.Join(err, root.Close()) }()
	f := &Folder{cfg: cfg, root: root, waiting: map[string]state{}}
	for _, d := range []string{accepted, quarantined, refused} {
		if err := root.MkdirAll(d, 0o700); err != nil {
			return fmt.Errorf("make folder %s in watched folder: %w", d, err)
		}
	}
	events, stop := f.watch()
	defer stop()
	f.run(ctx, events)
	return nil
}

// watch gives the notices of the system; without them the sweep alone finds files.
func (f *Folder) watch() (<-chan fsnotify.Event, func()) {
	w, err := fsnotify.NewWatcher()
	if err == nil {
		if err = w.Add(f.cfg.Dir); err == nil {
			return w.Events, func() {
				if err := w.Close(); err != nil {
					f.cfg.Log.Warn("watched folder: end of notices failed", "error", err)
				}
			}
		}
		err = errors.Join(err, w.Close())
	}
	f.cfg.Log.Warn("watched folder: no notices of new files, only sweeps", "sweep", f.cfg.Sweep.String(), "error", err)
	return nil, func() {}
}

func (f *Folder) run(ctx context.Context, events <-chan fsnotify.Event) {
	sweep := time.NewTicker(f.cfg.Sweep)
	defer sweep.Stop()
	look := time.NewTicker(max(f.cfg.Rest/4, time.Millisecond))
	defer look.Stop()
	f.sweep()
	for {
		select {
		case <-ctx.Done():
			return
		case e, ok := <-events:
			if !ok {
				events = nil
				continue
			}
			if f.noticed(e) {
				f.takeRested(ctx)
			}
		case <-sweep.C:
			f.sweep()
		case <-look.C:
			f.takeRested(ctx)
		}
	}
}

// noticed notes a file that the system tells of. The rename of x.part is the word that x is whole, to be taken now.
func (f *Folder) noticed(e fsnotify.Event) (now bool) {
	name := path.Base(e.Name)
	if whole, part := strings.CutSuffix(name, partial); part && e.Has(fsnotify.Rename) && watched(whole) {
		f.waiting[whole] = state{renamed: true}
		return true
	}
	if _, known := f.waiting[name]; !known && watched(name) && (e.Has(fsnotify.Create) || e.Has(fsnotify.Write) || e.Has(fsnotify.Chmod)) {
		f.waiting[name] = state{}
	}
	return false
}

const partial = ".part"

// watched tells whether a name is one that the folder takes.
func watched(name string) bool {
	return name != "" && !strings.HasPrefix(name, ".") && !strings.HasSuffix(name, partial)
}

// sweep notes every plain file of the folder.
func (f *Folder) sweep() {
	dir, err := f.root.Open(".")
	if err != nil {
		f.cfg.Log.Error("watched folder cannot be looked through", "error", err)
		return
	}
	for {
		entries, err := dir.ReadDir(1000)
		for _, e := range entries {
			if _, known := f.waiting[e.Name()]; !known && e.Type().IsRegular() && watched(e.Name()) {
				f.waiting[e.Name()] = state{}
			}
		}
		if err != nil {
			if !errors.Is(err, io.EOF) {
				f.cfg.Log.Error("watched folder cannot be looked through", "error", err)
			}
			break
		}
	}
	if err := dir.Close(); err != nil {
		f.cfg.Log.Error("watched folder cannot be closed", "error", err)
	}
}

// takeRested takes every waiting file that has rested.
func (f *Folder) takeRested(ctx context.Context) {
	for name, was := range f.waiting {
		if ctx.Err() != nil {
			return
		}
		info, err := f.root.Lstat(name)
		if err != nil || !info.Mode().IsRegular() {
			delete(f.waiting, name)
			continue
		}
		now := f.cfg.Now()
		if !was.renamed && (was.since.IsZero() || info.Size() != was.size || !info.ModTime().Equal(was.modified)) {
			f.waiting[name] = state{size: info.Size(), modified: info.ModTime(), since: now}
			continue
		}
		rest := f.cfg.Rest
		if info.Size() == 0 {
			rest *= restsEmpty
		}
		if !was.renamed && now.Sub(was.since) < rest {
			continue
		}
		delete(f.waiting, name)
		if err := f.take(ctx, name, info); err != nil {
			// The next sweep finds it again.
			f.cfg.Log.Error("file of watched folder left in place", "error", err)
		}
	}
}

// errChanged marks a file that was written to while it was read.
var errChanged = errors.New("file changed while it was read")

// take keeps one file and moves it where its answer stands. An error leaves it in place.
func (f *Folder) take(ctx context.Context, name string, seen fs.FileInfo) error {
	file, err := f.root.Open(name)
	if err != nil {
		return fmt.Errorf("open: %w", plain(err))
	}
	receipt, _, err := f.keep(ctx, file, seen)
	if e := file.Close(); e != nil {
		err = errors.Join(err, e)
	}
	if now, e := f.root.Lstat(name); e != nil || now.Size() != seen.Size() || !now.ModTime().Equal(seen.ModTime()) {
		return errors.Join(errChanged, err)
	}
	return f.put(name, receipt, err)
}

// keep hands the file's bytes on, when it is still the plain file that was seen.
func (f *Folder) keep(ctx context.Context, file *os.File, seen fs.FileInfo) (store.Receipt, ingest.Answer, error) {
	info, err := file.Stat()
	if err != nil {
		return store.Receipt{}, 0, plain(err)
	}
	if !os.SameFile(info, seen) {
		return store.Receipt{}, 0, errChanged
	}
	actor := store.Actor{Account: door, Role: "service", Source: f.cfg.Dir}
	return f.cfg.Keeper.Keep(ctx, actor, door, file)
}

const door = "folder"

// plain takes the path out of a file error: the name of a file may name a patient.
func plain(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	var l *os.LinkError
	if errors.As(err, &l) {
		return l.Err
	}
	return err
}
