package store

import "errors"

// The kinds of failure that callers tell apart; anything else is internal.
var (
	ErrNotFound = errors.New("not found")
	ErrInvalid  = errors.New("not valid")
	ErrConflict = errors.New("changed meanwhile")
	// ErrUnavailable marks a database or disk that cannot take anything now: full, read-only, locked for too long.
	ErrUnavailable = errors.New("storage not available")
	// ErrFatal marks a failed fsync: the process must end and start again from what is on the disk.
	ErrFatal = errors.New("storage failed")
)
