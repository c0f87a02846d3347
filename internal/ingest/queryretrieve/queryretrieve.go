package queryretrieve

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"strings"
	"time"

	"afterbeam/internal/ingest"
	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// By says how objects are retrieved.
type By string

// The ways of retrieval.
const (
	ByEither By = "either" // C-GET where the archive accepts it, else C-MOVE
	ByGet    By = "get"
	ByMove   By = "move"
)

// Store is the part of the store that a run needs. store.DB is one.
type Store interface {
	NoteSearch(ctx context.Context, d store.ArchiveDay, found []store.Archived) (added, held int, err error)
	SearchedDays(ctx context.Context, archive, from, to string) ([]store.ArchiveDay, error)
	Lacking(ctx context.Context, archive, from, to string) ([]store.Archived, error)
	NoteFetched(ctx context.Context, o store.Archived) error
	Kept(ctx context.Context, sopInstance string) ([]store.Receipt, error)
}

// Defaults of Config.
const (
	DefaultRate     = 5
	DefaultAttempts = 3
)

// Config says which archive is asked and how.
type Config struct {
	// Address is host:port, Title the AE title of the archive.
	Address, Title string
	// Requestor makes the associations, under our own title.
	Requestor upper.Requestor
	// Destination is the AE title of the door that C-MOVE sends to; the archive must know its address.
	Destination string
	By          By
	// Converted also asks for the general SR classes into which some archives convert dose reports.
	Converted bool
	// Rate bounds the requests of a second, each question and each object being one; 0 is no bound.
	Rate  float64
	Hours Hours
	// Anew searches days again that an earlier run searched to the end.
	Anew bool
	// Attempts is how often an association, and a question, is tried in one run.
	Attempts int
	Store    Store
	Keeper   dimse.Keeper
	Log      *slog.Logger
	// Now gives the time in the zone of the site. Sleep waits; the package's own waits by the clock.
	Now   func() time.Time
	Sleep func(context.Context, time.Duration) error
	// Progress is told how many days, and after them how many objects left over from earlier runs, are done; nil is nobody.
	Progress func(done, total int)
}

// Period is from one study date to another, both included. The zero Period has no day.
type Period struct{ From, To time.Time }

// settled is how long after its day a study may still get a dose report: what was searched before is searched again.
// Common practice, no source.
const settled = 7 * 24 * time.Hour

// Counts says what a run did.
type Counts struct {
	// Days were asked for, DaysBefore of them done by an earlier run, DaysOpen not searched to the end.
	Days, DaysBefore, DaysOpen int
	// Studies were found, Passed of them not looked into because of their modalities.
	Studies, Passed int
	// Reports were named by the archive, Held of them kept here already; Got arrived, Failed did not.
	Reports, Held, Got, Failed int
}

// mostInARow is how many requests may fail one after another before a run gives up: the archive is then not to be had.
const mostInARow = 10

// fetch is one run.
type fetch struct {
	cfg    Config
	link   *link
	counts Counts
	next   time.Time // when the next request may be sent
	inARow int
}

// Run searches each day of a period that was not searched to the end before, and retrieves what the store lacks of it;
// then it tries again what is left over from earlier runs outside the period. With an error it returns what was done
// until then; the next run goes on there.
func Run(ctx context.Context, cfg Config, p Period) (Counts, error) {
	if cfg.Progress == nil {
		cfg.Progress = func(int, int) {}
	}
	f := &fetch{cfg: cfg}
	f.link = &link{cfg: &f.cfg, storage: dimse.Storage(later{cfg.Keeper})}
	defer f.link.release()
	days := p.days()
	f.counts.Days = len(days)
	done, err := f.searched(ctx, days)
	if err != nil {
		return f.counts, err
	}
	for i, day := range days {
		if err := f.day(ctx, day, done[day]); err != nil {
			return f.counts, err
		}
		cfg.Progress(i+1, len(days))
	}
	return f.counts, f.leftOver(ctx, days)
}

// later keeps what C-GET brings as what it is: the past.
type later struct{ dimse.Keeper }

// KeepIf keeps for later.
func (l later) KeepIf(ctx context.Context, a store.Actor, door string, body io.Reader, fits func(dicomio.Identity) error) (store.Receipt, ingest.Answer, error) {
	return l.KeepForLaterIf(ctx, a, door, body, fits)
}

// days gives the days of a period as the store writes them.
func (p Period) days() []string {
	var all []string
	if p.From.IsZero() {
		return nil
	}
	for d := p.From; !d.After(p.To); d = d.AddDate(0, 0, 1) {
		all = append(all, d.Format(time.DateOnly))
	}
	return all
}

// searched gives the days that need no search: an earlier one came to its end when no report was to be expected any more.
func (f *fetch) searched(ctx context.Context, days []string) (map[string]bool, error) {
	done := map[string]bool{}
	if len(days) == 0 || f.cfg.Anew {
		return done, nil
	}
	before, err := f.cfg.Store.SearchedDays(ctx, f.cfg.Title, days[0], days[len(days)-1])
	for _, d := range before {
		day, e := time.ParseInLocation(time.DateOnly, d.Day, f.cfg.Now().Location())
		done[d.Day] = e == nil && d.Problem == "" && d.SearchedAt.Sub(day) >= settled
	}
	return done, err
}

// day searches one day, unless that is done, and retrieves what is lacking of it.
func (f *fetch) day(ctx context.Context, day string, done bool) error {
	if done {
		f.counts.DaysBefore++
	} else if err := f.search(ctx, day); err != nil {
		return err
	}
	lacking, err := f.cfg.Store.Lacking(ctx, f.cfg.Title, day, day)
	if err != nil {
		return err
	}
	for _, one := range lacking {
		if err := f.object(ctx, one); err != nil {
			return err
		}
	}
	return nil
}

// leftOver tries again, outside the days of this run, what earlier runs could not search or retrieve.
func (f *fetch) leftOver(ctx context.Context, days []string) error {
	in := func(day string) bool { return len(days) > 0 && day >= days[0] && day <= days[len(days)-1] }
	before, err := f.cfg.Store.SearchedDays(ctx, f.cfg.Title, "", "")
	if err != nil {
		return err
	}
	for _, d := range before {
		if d.Problem != "" && !in(d.Day) {
			if err := f.search(ctx, d.Day); err != nil {
				return err
			}
		}
	}
	lacking, err := f.cfg.Store.Lacking(ctx, f.cfg.Title, "", "")
	if err != nil {
		return err
	}
	lacking = slices.DeleteFunc(lacking, func(o store.Archived) bool { return in(o.Day) })
	for i, one := range lacking {
		if err := f.object(ctx, one); err != nil {
			return err
		}
		f.cfg.Progress(i+1, len(lacking))
	}
	return nil
}

// search finds the dose reports of one day and notes them. What keeps it from its end is noted too.
func (f *fetch) search(ctx context.Context, day string) error {
	s := search{f: f, day: store.ArchiveDay{Archive: f.cfg.Title, Day: day}}
	err := s.studies(ctx, strings.ReplaceAll(day, "-", ""))
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		s.trouble(err.Error())
	}
	added, held, storeErr := f.cfg.Store.NoteSearch(ctx, s.day, s.found)
	if storeErr != nil {
		return storeErr
	}
	f.counts.Studies += s.day.Studies
	f.counts.Passed += s.day.Passed
	f.counts.Reports += len(s.found)
	f.counts.Held += held
	f.cfg.Log.Debug("day searched", "archive", f.cfg.Title, "day", day, "studies", s.day.Studies, "reports", len(s.found), "new", added)
	if s.day.Problem != "" {
		f.counts.DaysOpen++
		f.cfg.Log.Warn("day not searched to the end", "archive", f.cfg.Title, "day", day, "reason", s.day.Problem)
	}
	return f.ends(err)
}

// ends passes on what ends a run: an archive that refuses for good, or too much that failed in a row.
func (f *fetch) ends(err error) error {
	if err == nil {
		f.inARow = 0
		return nil
	}
	f.inARow++
	switch {
	case errors.Is(err, ErrUnwilling):
		return err
	case f.inARow >= mostInARow:
		return fmt.Errorf("%w: %d requests failed one after another, the last: %w", ErrUnreachable, f.inARow, err)
	}
	return nil
}
