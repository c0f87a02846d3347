package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"embed"
	"encoding/base32"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"

	"github.com/pressly/goose/v3"
	_ "modernc.org/sqlite" // the driver "sqlite"

	"afterbeam/internal/followup/ask"
	"afterbeam/internal/store/object"
)

//go:embed migrations/sqlite/*.sql
var migrations embed.FS

// Defaults of Config.
const (
	DefaultReaders     = 4
	DefaultObjectLimit = 48 << 20
)

// largestObject bounds what a kept object may hold, whatever the limit was when it came.
const largestObject = 4 << 30

// Config says where a store is and what it needs from outside.
type Config struct {
	// Dir is the folder of database and objects; it is made when missing.
	Dir string
	// Program is the version that new rows and audit records carry.
	Program string
	// Readers is the number of reading connections, DefaultReaders when 0.
	Readers int
	// ObjectLimit is the largest object in bytes, DefaultObjectLimit when 0.
	ObjectLimit int64
	// Files is the file system of the objects, the machine's own when nil.
	Files object.FS
	// Beside opens the store beside a process that may serve it, to look at it or copy it: temporary files of arrivals
	// stay, and no lock is taken. Otherwise Open is for the one process that serves the store.
	Beside bool
	// Now gives the time, time.Now when nil.
	Now func() time.Time
	// Schedule says what is asked after a level was reached; nil is the default. Site places the days of that; nil is UTC.
	Schedule *ask.Schedule
	Site     *time.Location
	// Today gives the local date by which asks are made and age, that of Now at the site when nil: a demonstration has its own.
	Today func() string
}

// DB is an open store.
type DB struct {
	write *sql.DB
	read  *reader

	objects *object.Store // takes what is received, up to the limit
	kept    *object.Store // gives what was kept under whatever limit there was
	dir     string
	program string
	now     func() time.Time
	views   *viewer
	tokens  tokenMemory
	noting  *sql.Stmt // appends an audit record
	doses   atomic.Uint64
	lock    *folderLock // nil beside another process

	schedule ask.Schedule
	site     *time.Location
	today    func() string // nil is that of now
}

const databaseFile = "afterbeam.db"

// readerCache is the page cache of each reading connection: 16 MiB holds the upper pages of every index of a large site.
const readerCache = "cache_size(-16384)"

// Open opens or makes the store in cfg.Dir, brings its schema up to date and removes temporary files a crash left. It
// refuses a database of a newer schema than the program knows.
func Open(ctx context.Context, cfg Config) (_ *DB, err error) {
	if cfg.Dir == "" {
		return nil, fmt.Errorf("%w: no folder for the store", ErrInvalid)
	}
	if _, err := os.Stat(filepath.Join(cfg.Dir, databaseFile)); cfg.Beside && err != nil {
		return nil, fmt.Errorf("%w: no store in %q", ErrNotFound, cfg.Dir)
	}
	db := &DB{dir: cfg.Dir, program: cfg.Program, now: cfg.Now}
	if db.now == nil {
		db.now = time.Now
	}
	db.schedule, db.site, db.today = ask.Default(), time.UTC, cfg.Today
	if cfg.Schedule != nil {
		db.schedule = *cfg.Schedule
	}
	if cfg.Site != nil {
		db.site = cfg.Site
	}
	if err := db.openObjects(cfg); err != nil {
		return nil, err
	}
	if !cfg.Beside {
		if db.lock, err = lockFolder(cfg.Dir); err != nil {
			return nil, err
		}
		defer func() {
			if err != nil {
				err = errors.Join(err, db.lock.release())
			}
		}()
		if err := db.objects.Clean(); err != nil {
			return nil, err
		}
	}
	if err := db.connect(ctx, cfg.Readers, cfg.Beside); err != nil {
		return nil, err
	}
	db.views = newViewer(db)
	return db, nil
}

// openObjects makes the folders of the objects.
func (db *DB) openObjects(cfg Config) (err error) {
	files := cfg.Files
	if files == nil {
		files = object.Disk{}
	}
	limit := cfg.ObjectLimit
	if limit == 0 {
		limit = DefaultObjectLimit
	}
	_, missing := os.Stat(cfg.Dir)
	if db.objects, err = object.New(files, cfg.Dir, limit); err != nil {
		return err
	}
	if db.kept, err = object.New(files, cfg.Dir, largestObject); err != nil {
		return err
	}
	if errors.Is(missing, os.ErrNotExist) {
		if err := files.SyncDir(filepath.Dir(cfg.Dir)); err != nil {
			return kind(fmt.Errorf("make the folder of the store durable: %w", synced(err)))
		}
	}
	return nil
}

func (db *DB) connect(ctx context.Context, readers int, beside bool) (err error) {
	name := filepath.Join(db.dir, databaseFile)
	if err := private(name); err != nil {
		return fmt.Errorf("make database: %w", err)
	}
	if db.write, err = sql.Open("sqlite", dsn(name, false)); err != nil {
		return fmt.Errorf("open database: %w", err)
	}
	db.write.SetMaxOpenConns(1)
	defer func() {
		if err != nil {
			err = errors.Join(err, db.write.Close())
		}
	}()
	if err := migrate(ctx, db.write, beside); err != nil {
		return err
	}
	if !beside {
		if err := db.makeSecret(ctx); err != nil {
			return err
		}
	}
	if db.noting, err = db.write.PrepareContext(ctx, appendAudit); err != nil {
		return fmt.Errorf("prepare audit: %w", err)
	}
	read, err := sql.Open("sqlite", dsn(name, true))
	if err != nil {
		return fmt.Errorf("open database for reading: %w", err)
	}
	if readers == 0 {
		readers = DefaultReaders
	}
	read.SetMaxOpenConns(readers)
	read.SetMaxIdleConns(readers)
	db.read = newReader(read)
	return nil
}

// private makes a database file that its owner alone reads: it names patients, and SQLite leaves the mode to the process.
// What SQLite keeps beside it gets the same mode. A file that is there is not opened: closing it would drop SQLite's locks.
func private(name string) error {
	file, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	if err != nil {
		return err
	}
	return file.Close()
}

// dsn builds the data source name. Every value in it is ours: the driver runs pragma values as SQL.
func dsn(name string, readOnly bool) string {
	q := url.Values{}
	pragmas := []string{"busy_timeout(5000)", "foreign_keys(1)", "journal_mode(WAL)", "synchronous(FULL)"}
	if readOnly {
		pragmas = append(pragmas, "query_only(1)", readerCache)
	} else {
		q.Set("_txlock", "immediate")
	}
	for _, p := range pragmas {
		q.Add("_pragma", p)
	}
	return (&url.URL{Scheme: "file", Opaque: (&url.URL{Path: name}).EscapedPath(), RawQuery: q.Encode()}).String()
}

// provider is the way of the schema up and down.
func provider(db *sql.DB) (*goose.Provider, error) {
	folder, err := fs.Sub(migrations, "migrations/sqlite")
	if err != nil {
		return nil, err
	}
	way, err := goose.NewProvider(goose.DialectSQLite3, db, folder)
	if err != nil {
		return nil, fmt.Errorf("read migrations: %w", err)
	}
	return way, nil
}

func migrate(ctx context.Context, db *sql.DB, beside bool) error {
	way, err := provider(db)
	if err != nil {
		return err
	}
	current, target, err := way.GetVersions(ctx)
	if err != nil {
		return fmt.Errorf("read schema version: %w", err)
	}
	if current > target {
		return fmt.Errorf("%w: the database has schema %d, this program knows schemas up to %d", ErrInvalid, current, target)
	}
	if beside && current < target {
		return fmt.Errorf("%w: the database has schema %d, this program wants %d: let the service migrate it first", ErrInvalid, current, target)
	}
	if _, err := way.Up(ctx); err != nil {
		return fmt.Errorf("migrate schema: %w", err)
	}
	return nil
}

// Close ends the store after the last view was recorded. What is asked of a closed store fails; closing again is
// harmless.
func (db *DB) Close() error {
	db.views.stop()
	return errors.Join(db.read.Close(), db.noting.Close(), db.write.Close(), db.lock.release())
}

// DosesAge counts the changes of what patients received and of who is one patient, reviews of that included: what was read
// after it was asked for holds as long as it stays. Only the process that serves the store makes such changes.
func (db *DB) DosesAge() uint64 { return db.doses.Load() }

// newID makes an opaque id that tells nothing of what it names.
func newID() string {
	var b [15]byte
	_, _ = rand.Read(b[:]) // never fails: crypto/rand ends the process instead
	return strings.ToLower(base32.StdEncoding.EncodeToString(b[:]))
}
