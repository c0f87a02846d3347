package store

import (
	"context"
	"database/sql"
	"errors"

	"github.com/pressly/goose/v3"
)

// Writer gives the writing connection, for what only the database itself can be told.
func (db *DB) Writer() *sql.DB { return db.write }

// Reader gives the reading connections.
func (db *DB) Reader() *sql.DB { return db.read.DB }

// Panic panics in the middle of a change.
func (db *DB) Panic(ctx context.Context) error {
	return db.change(ctx, Actor{}, func(*change) error { panic("in a change") })
}

// Migrations gives the way of the schema, up and down.
func (db *DB) Migrations() (*goose.Provider, error) { return provider(db.write) }

// NextJob is the query that Lease polls with.
const NextJob = nextJob

// Where gives the condition of a filter.
func (f Filter) Where() (string, []any) { return f.where() }

// Query gives the query of a list of instances.
func (f InstanceFilter) Query() (string, []any) { return f.query() }

// KindOf gives the kind of a result code, nil for internal.
func KindOf(code int) error { return kindOf(code) }

// ErrNone stands for no kind in tables.
var ErrNone = errors.New("no kind")

// QueryRow asks the reading connections as the store itself does.
func (db *DB) QueryRow(ctx context.Context, query string, args ...any) *sql.Row {
	return db.read.QueryRowContext(ctx, query, args...)
}
