package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	sqlite "modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"afterbeam/internal/store/object"
)

// The kinds of failure that callers tell apart; anything else is internal.
var (
	ErrNotFound = errors.New("not found")
	ErrInvalid  = errors.New("not valid")
	ErrConflict = errors.New("conflict")
	// ErrCursor is a cursor of a list that names nothing: an empty page would look like the end.
	ErrCursor = fmt.Errorf("%w: no such cursor", ErrInvalid)
	// ErrNotEmpty is a folder for a copy that holds something: nothing is ever overwritten.
	ErrNotEmpty = errors.New("folder is not empty")
	// ErrServed is a store that another process serves.
	ErrServed = errors.New("another process serves the store")
	// ErrUnavailable marks a database or disk that cannot take anything now: full, read-only, locked for too long.
	ErrUnavailable = errors.New("storage not available")
	// ErrFatal marks a failed fsync: the process must end and start again from what is on the disk.
	ErrFatal = errors.New("storage failed")
)

// kinds are what kind gives; an error that has one keeps it.
var kinds = []error{ErrNotFound, ErrInvalid, ErrConflict, ErrUnavailable, ErrFatal}

// kind gives an error of the database or the objects its kind.
func kind(err error) error {
	if err == nil {
		return nil
	}
	for _, known := range kinds {
		if errors.Is(err, known) {
			return err
		}
	}
	if errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("%w: %w", ErrNotFound, err)
	}
	if errors.Is(err, object.ErrSync) {
		return fmt.Errorf("%w: %w", ErrFatal, err)
	}
	var broken *sqlite.Error
	if !errors.As(err, &broken) {
		return err
	}
	if of := kindOf(broken.Code()); of != nil {
		return fmt.Errorf("%w: %w", of, err)
	}
	return err
}

// kindOf is the one table from the result codes of SQLite to kinds; nil is internal.
func kindOf(code int) error {
	switch code {
	case sqlite3.SQLITE_IOERR_FSYNC, sqlite3.SQLITE_IOERR_DIR_FSYNC:
		return ErrFatal
	case sqlite3.SQLITE_CONSTRAINT_UNIQUE, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY, sqlite3.SQLITE_CONSTRAINT_ROWID:
		return ErrConflict
	}
	switch code & 0xff { // the primary code of an extended one
	case sqlite3.SQLITE_INTERRUPT:
		return context.Canceled // nothing else interrupts
	case sqlite3.SQLITE_FULL, sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN,
		sqlite3.SQLITE_NOMEM, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_PERM, sqlite3.SQLITE_PROTOCOL:
		return ErrUnavailable
	case sqlite3.SQLITE_CONSTRAINT, sqlite3.SQLITE_TOOBIG:
		return ErrInvalid
	}
	return nil
}

// interrupted tells whether SQLite ended a statement because its context was done.
func interrupted(err error) bool {
	var broken *sqlite.Error
	return errors.As(err, &broken) && broken.Code()&0xff == sqlite3.SQLITE_INTERRUPT
}
