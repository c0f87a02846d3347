package store

import (
	"bytes"
	"context"
	"crypto/rand"
	"fmt"
)

// probeSize is how much room Ready tries to take, in bytes: more than a page of the database and a block of the disk.
const probeSize = 64 << 10

// Ready tells whether the store can take something now. It writes and syncs a file of random bytes beside the objects
// and takes it away again, and commits a transaction that fills pages of the database and empties them, so that a full or
// read-only disk is found, also where only the commit meets it, and no row is changed. It returns ErrUnavailable, or
// ErrFatal when a sync failed.
func (db *DB) Ready(ctx context.Context) error {
	var probe [probeSize]byte
	_, _ = rand.Read(probe[:]) // never fails; random bytes do not compress
	a, err := db.Receive(ctx, bytes.NewReader(probe[:]))
	if err != nil {
		return fmt.Errorf("try the disk: %w", err)
	}
	if err := a.Drop(); err != nil {
		return fmt.Errorf("%w: try the disk: %w", ErrUnavailable, err)
	}
	return db.change(ctx, Actor{}, func(c *change) error {
		if _, err := c.ExecContext(ctx, `INSERT INTO setting (name, value) VALUES ('probe', $1)`, string(bytes.Repeat([]byte{'x'}, probeSize))); err != nil {
			return fmt.Errorf("try the database: %w", err)
		}
		return c.one(ctx, "try the database", `DELETE FROM setting WHERE name = 'probe'`)
	})
}
