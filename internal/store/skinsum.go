package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
)

// SkinSum is what several procedures together left on the skin, under a key that names the exact versions in it.
type SkinSum struct {
	Key  string
	Body []byte
	// Digests are those of the versions in it; the store takes them and does not give them back.
	Digests []string
}

// keepSkin keeps sums of a saved version; one that is there stays as it is.
func (c *change) keepSkin(ctx context.Context, sums []SkinSum) error {
	for _, s := range sums {
		result, err := c.ExecContext(ctx, `INSERT INTO skin_sum (key, body, made_at) VALUES ($1, $2, $3) ON CONFLICT (key) DO NOTHING`, s.Key, string(s.Body), at(c.db.now()))
		if err != nil {
			return fmt.Errorf("keep skin sum: %w", err)
		}
		added, err := result.RowsAffected()
		if err != nil {
			return fmt.Errorf("keep skin sum: %w", err)
		}
		c.doses = c.doses || added > 0
		for _, digest := range s.Digests {
			if _, err := c.ExecContext(ctx, `INSERT INTO skin_sum_version (key, digest) VALUES ($1, $2) ON CONFLICT (key, digest) DO NOTHING`, s.Key, digest); err != nil {
				return fmt.Errorf("keep skin sum: %w", err)
			}
		}
	}
	return nil
}

// SkinSums gives the bodies of those of the sums that are kept, by key.
func (db *DB) SkinSums(ctx context.Context, keys []string) (map[string][]byte, error) {
	if len(keys) == 0 {
		return nil, nil
	}
	var args []any
	var marks []string
	for _, key := range keys {
		marks = append(marks, placeholder(&args, key))
	}
	found := map[string][]byte{}
	_, err := rows(ctx, db.read, func(r *sql.Rows) (struct{}, error) {
		var key, body string
		err := r.Scan(&key, &body)
		found[key] = []byte(body)
		return struct{}{}, err
	}, `SELECT key, body FROM skin_sum WHERE key IN (`+strings.Join(marks, ", ")+`)`, args...)
	return found, err
}
