package object

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"strings"

	"afterbeam/internal/crashpoint"
)

// The kinds of failure.
var (
	// ErrTooLarge marks a stream over the limit; nothing of it is kept.
	ErrTooLarge = errors.New("larger than accepted")
	// ErrSync marks a failed fsync: the process must end, since the state of the disk is not known any more.
	ErrSync = errors.New("fsync failed")
	// ErrCorrupt marks stored bytes that do not have their digest.
	ErrCorrupt = errors.New("stored bytes are corrupt")
	// ErrNotFound marks a digest that is not in the store.
	ErrNotFound = errors.New("no such object")
)

// Store is a folder of objects. The zero Store is not usable; make one by New.
type Store struct {
	fs    FS
	dir   string
	limit int64
}

// New makes the folders of a store of objects of at most limit bytes each.
func New(fsys FS, dir string, limit int64) (*Store, error) {
	s := &Store{fs: fsys, dir: dir, limit: limit}
	for _, d := range []string{s.arrivals(), s.objects()} {
		if err := fsys.MkdirAll(d); err != nil {
			return nil, fmt.Errorf("make object folder: %w", err)
		}
	}
	return s, nil
}

func (s *Store) arrivals() string { return filepath.Join(s.dir, "arrivals") }
func (s *Store) objects() string  { return filepath.Join(s.dir, "objects") }

// Arrival is a received stream that is durable as a temporary file but has no name yet. The caller either Keeps or
// Drops it.
type Arrival struct {
	Digest string // SHA-256 of the received bytes, lower-case hex
	Bytes  []byte // the received bytes
	store  *Store
	temp   string
}

// Receive reads a stream to its end, writes it compressed to a temporary file and fsyncs that. It returns ErrTooLarge
// over the limit, ErrSync when the fsync failed, and the reader's own error; in all of these nothing is kept.
func (s *Store) Receive(ctx context.Context, body io.Reader) (_ *Arrival, err error) {
	var raw bytes.Buffer
	n, err := io.Copy(&raw, io.LimitReader(contextReader{ctx, body}, s.limit+1))
	if err != nil {
		return nil, fmt.Errorf("receive: %w", err)
	}
	if n > s.limit {
		return nil, fmt.Errorf("%w: over %d bytes", ErrTooLarge, s.limit)
	}
	sum := sha256.Sum256(raw.Bytes())
	file, err := s.fs.CreateTemp(s.arrivals())
	if err != nil {
		return nil, fmt.Errorf("make temporary file: %w", err)
	}
	a := &Arrival{Digest: hex.EncodeToString(sum[:]), Bytes: raw.Bytes(), store: s, temp: file.Name()}
	defer func() {
		if err != nil {
			err = errors.Join(err, a.Drop())
		}
	}()
	if err := compress(file, a.Bytes); err != nil {
		return nil, errors.Join(fmt.Errorf("write temporary file: %w", err), file.Close())
	}
	crashpoint.Reached(crashpoint.TempWritten)
	if err := file.Sync(); err != nil {
		return nil, errors.Join(fmt.Errorf("%w: temporary file: %w", ErrSync, err), file.Close())
	}
	crashpoint.Reached(crashpoint.TempSynced)
	if err := file.Close(); err != nil {
		return nil, fmt.Errorf("close temporary file: %w", err)
	}
	return a, nil
}

// Keep links the arrival to its name and fsyncs the folder. An object of the same digest already there is checked and
// left as it is; a corrupt one is replaced.
func (a *Arrival) Keep() error {
	s := a.store
	name := s.name(a.Digest)
	dir := filepath.Dir(name)
	if err := s.fs.MkdirAll(dir); err != nil {
		return fmt.Errorf("make object folder: %w", err)
	}
	err := s.fs.Link(a.temp, name)
	if errors.Is(err, fs.ErrExist) {
		if _, readErr := s.Read(a.Digest); readErr == nil {
			err = nil
		} else if err = s.fs.Remove(name); err == nil {
			err = s.fs.Link(a.temp, name)
		}
	}
	if err != nil {
		return fmt.Errorf("link object: %w", err)
	}
	crashpoint.Reached(crashpoint.Linked)
	// The folder above is synced as well: it may have been made just now.
	for _, d := range []string{dir, s.objects()} {
		if err := s.fs.SyncDir(d); err != nil {
			return fmt.Errorf("%w: object folder: %w", ErrSync, err)
		}
	}
	crashpoint.Reached(crashpoint.FolderSynced)
	return a.Drop()
}

// Drop takes the temporary file away. What Keep linked stays.
func (a *Arrival) Drop() error {
	if a.temp == "" {
		return nil
	}
	if err := a.store.fs.Remove(a.temp); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("remove temporary file: %w", err)
	}
	a.temp = ""
	return nil
}

// Read gives the bytes of a digest. It returns ErrNotFound, or ErrCorrupt when they do not have that digest.
func (s *Store) Read(digest string) (_ []byte, err error) {
	if !wellFormed(digest) {
		return nil, fmt.Errorf("%w: digest not well formed", ErrNotFound)
	}
	file, err := s.fs.Open(s.name(digest))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%w: %s", ErrNotFound, digest)
	}
	if err != nil {
		return nil, fmt.Errorf("open object: %w", err)
	}
	defer func() {
		if e := file.Close(); err == nil && e != nil {
			err = fmt.Errorf("close object: %w", e)
		}
	}()
	raw, err := expand(file, s.limit)
	if err != nil {
		return nil, fmt.Errorf("%w: %s: %w", ErrCorrupt, digest, err)
	}
	if sum := sha256.Sum256(raw); hex.EncodeToString(sum[:]) != digest {
		return nil, fmt.Errorf("%w: %s", ErrCorrupt, digest)
	}
	return raw, nil
}

// Digests lists every object in order.
func (s *Store) Digests(visit func(digest string) error) error {
	return s.fs.Walk(s.objects(), func(name string, _ int64) error {
		return visit(strings.TrimSuffix(filepath.Base(name), suffix))
	})
}

// Clean removes temporary files that a crash left; call it before any door opens.
func (s *Store) Clean() error {
	var left []string
	if err := s.fs.Walk(s.arrivals(), func(name string, _ int64) error {
		left = append(left, name)
		return nil
	}); err != nil {
		return fmt.Errorf("look for left arrivals: %w", err)
	}
	for _, name := range left {
		if err := s.fs.Remove(name); err != nil {
			return fmt.Errorf("remove left arrival: %w", err)
		}
	}
	return nil
}

const suffix = ".gz"

func (s *Store) name(digest string) string {
	return filepath.Join(s.objects(), digest[:2], digest+suffix)
}

func wellFormed(digest string) bool {
	if len(digest) != 2*sha256.Size {
		return false
	}
	_, err := hex.DecodeString(digest)
	return err == nil && digest == strings.ToLower(digest)
}

func compress(w io.Writer, raw []byte) error {
	z, err := gzip.NewWriterLevel(w, gzip.BestSpeed)
	if err != nil {
		return err
	}
	if _, err := z.Write(raw); err != nil {
		return err
	}
	return z.Close()
}

func expand(r io.Reader, limit int64) ([]byte, error) {
	z, err := gzip.NewReader(r)
	if err != nil {
		return nil, err
	}
	raw, err := io.ReadAll(io.LimitReader(z, limit+1))
	if err != nil {
		return nil, err
	}
	return raw, z.Close()
}

type contextReader struct {
	ctx  context.Context //nolint:containedctx // lives for one copy
	body io.Reader
}

func (r contextReader) Read(p []byte) (int, error) {
	if err := r.ctx.Err(); err != nil {
		return 0, err
	}
	return r.body.Read(p)
}
