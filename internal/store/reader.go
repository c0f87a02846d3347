package store

import (
	"context"
	"database/sql"
	"errors"
	"sync"
)

// mostPrepared bounds the statements that are kept prepared. Queries differ by their filters and the length of their
// lists, never by what is asked for, so that a running service has far fewer.
const mostPrepared = 200

// reader is the reading connections. What it has read once stays prepared: for a query by a key, preparing takes longer
// than reading.
type reader struct {
	*sql.DB

	mu       sync.RWMutex
	prepared map[string]*sql.Stmt
}

func newReader(db *sql.DB) *reader { return &reader{DB: db, prepared: map[string]*sql.Stmt{}} }

// QueryContext runs a query.
func (r *reader) QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	if s := r.statement(ctx, query); s != nil { //nolint:sqlclosecheck // it stays open until Close
		return s.QueryContext(ctx, args...)
	}
	return r.DB.QueryContext(ctx, query, args...)
}

// QueryRowContext runs a query for one row.
func (r *reader) QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row {
	if s := r.statement(ctx, query); s != nil { //nolint:sqlclosecheck // it stays open until Close
		return s.QueryRowContext(ctx, args...)
	}
	return r.DB.QueryRowContext(ctx, query, args...)
}

// statement gives a query prepared, or nil when it cannot be: then running it as it is tells why.
func (r *reader) statement(ctx context.Context, query string) *sql.Stmt {
	r.mu.RLock()
	s, full := r.prepared[query], len(r.prepared) >= mostPrepared
	r.mu.RUnlock()
	if s != nil || full {
		return s
	}
	made, err := r.PrepareContext(ctx, query)
	if err != nil {
		return nil
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.prepared[query] == nil {
		r.prepared[query] = made
		return made
	}
	// Another was quicker. A statement not yet used closes without a word.
	_ = made.Close() //nolint:sqlclosecheck // only here
	return r.prepared[query]
}

// Close ends the statements and the connections.
func (r *reader) Close() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	var all []error
	for _, s := range r.prepared {
		all = append(all, s.Close())
	}
	return errors.Join(append(all, r.DB.Close())...)
}
