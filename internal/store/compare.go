package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"

	"afterbeam/internal/audit"
)

// Comparison is what a restored copy has, set beside the store that it is a copy of.
type Comparison struct {
	Tables []TableCount
	// Head is the end of the copy's audit chain, Continued that the store's own chain has the same record there: everything
	// that the copy records happened in this store, in this order.
	Head      audit.Head
	Continued bool
	// Receipts and Estimates are how many were compared by their digests.
	Receipts, Estimates int
	// Lost names receipts that the store had taken when the copy was made and that the copy lacks.
	Lost []string
	// Differing names receipts and estimates whose digests differ, Gone counts estimates that retention has removed from the store since.
	Differing []string
	Gone      int
}

// TableCount is how many rows a table has in the copy and in the store now.
type TableCount struct {
	Name       string
	Copy, Here int64
}

// Same tells whether the copy is what the store was when the copy was made.
func (c Comparison) Same() bool { return c.Continued && len(c.Lost) == 0 && len(c.Differing) == 0 }

// Compare sets a restored copy beside the store. The store may work meanwhile: it only ever adds to what is compared.
func (db *DB) Compare(ctx context.Context, restored *DB) (c Comparison, err error) {
	if c.Tables, err = db.tableCounts(ctx, restored); err != nil {
		return c, err
	}
	if c.Head, err = restored.AuditHead(ctx); err != nil {
		return c, err
	}
	c.Continued = c.Head.Sequence == 0
	if c.Head.Sequence > 0 {
		records, err := db.AuditAfter(ctx, int64(c.Head.Sequence)-1, 1)
		if err != nil {
			return c, err
		}
		c.Continued = len(records) == 1 && records[0].Hash == c.Head.Hash
	}
	if err := db.compareReceipts(ctx, restored, &c); err != nil {
		return c, err
	}
	return c, db.compareEstimates(ctx, restored, &c)
}

// tableCounts counts the rows of every table that the copy has.
func (db *DB) tableCounts(ctx context.Context, restored *DB) ([]TableCount, error) {
	tables, err := rows(ctx, restored.read, func(r *sql.Rows) (t TableCount, err error) { return t, r.Scan(&t.Name) },
		`SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite%' AND name NOT LIKE 'goose%' ORDER BY name`)
	if err != nil {
		return nil, err
	}
	for i := range tables {
		count := `SELECT COUNT(*) FROM "` + tables[i].Name + `"` // a name of our own schema
		if err := restored.read.QueryRowContext(ctx, count).Scan(&tables[i].Copy); err != nil {
			return nil, kind(err)
		}
		if err := db.read.QueryRowContext(ctx, count).Scan(&tables[i].Here); err != nil {
			return nil, kind(err)
		}
	}
	return tables, nil
}

func receiptDigests(ctx context.Context, q querier) (map[string]string, error) {
	found := map[string]string{}
	_, err := rows(ctx, q, func(r *sql.Rows) (struct{}, error) {
		var id, digest string
		err := r.Scan(&id, &digest)
		found[id] = digest
		return struct{}{}, err
	}, `SELECT id, digest FROM receipt`)
	return found, err
}

func (db *DB) compareReceipts(ctx context.Context, restored *DB, c *Comparison) error {
	copied, err := receiptDigests(ctx, restored.read)
	if err != nil {
		return err
	}
	here, err := receiptDigests(ctx, db.read)
	if err != nil {
		return err
	}
	for id, digest := range copied {
		c.Receipts++
		if here[id] != digest {
			c.Differing = append(c.Differing, "receipt "+id)
		}
	}
	slices.Sort(c.Differing)
	if !c.Continued {
		return nil
	}
	// The chain says which receipts there were at its end, whatever their times are.
	taken, err := rows(ctx, db.read, func(r *sql.Rows) (id string, err error) { return id, r.Scan(&id) },
		`SELECT DISTINCT object FROM audit WHERE sequence <= $1 AND action = 'report.keep' AND outcome = 'done' ORDER BY object`, int64(c.Head.Sequence))
	if err != nil {
		return err
	}
	for _, id := range taken {
		if _, there := copied[id]; !there && here[id] != "" {
			c.Lost = append(c.Lost, id)
		}
	}
	return nil
}

func (db *DB) compareEstimates(ctx context.Context, restored *DB, c *Comparison) error {
	type estimate struct {
		id, digest string
		number     int
	}
	all, err := rows(ctx, restored.read, func(r *sql.Rows) (e estimate, err error) { return e, r.Scan(&e.id, &e.number, &e.digest) },
		`SELECT procedure_id, version, digest FROM procedure_version ORDER BY procedure_id, version`)
	if err != nil {
		return err
	}
	for _, e := range all {
		var digest string
		err := db.read.QueryRowContext(ctx, `SELECT digest FROM procedure_version WHERE procedure_id = $1 AND version = $2`, e.id, e.number).Scan(&digest)
		switch {
		case errors.Is(err, sql.ErrNoRows):
			c.Gone++
		case err != nil:
			return kind(err)
		case digest != e.digest:
			c.Differing = append(c.Differing, fmt.Sprintf("estimate %d of %s", e.number, e.id))
		default:
			c.Estimates++
		}
	}
	return nil
}
