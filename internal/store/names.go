package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"fmt"

	"afterbeam/internal/procedure/lexicon"
)

// Called says what a case is called, as far as a lexicon asks.
type Called struct {
	CaseID, StudyUID string
	Day              string // local day, "" when not known
	Class            string // of its newest version
	Given            bool   // a person, or the table of performed procedures, said the class
	Quality          bool   // a quality-control exposure: no patient's procedure
	Names            string // key of its names, "" while they are not known
}

// Called lists what every case is called, with the names by their keys.
func (db *DB) Called(ctx context.Context) (cases []Called, names map[string]lexicon.Names, err error) {
	err = db.snapshot(ctx, func(q querier) error {
		cases, names, err = called(ctx, q)
		return err
	})
	return cases, names, err
}

func called(ctx context.Context, q querier) ([]Called, map[string]lexicon.Names, error) {
	cases, err := rows(ctx, q, func(r *sql.Rows) (Called, error) {
		var c Called
		return c, r.Scan(&c.CaseID, &c.StudyUID, &c.Day, &c.Class, &c.Given, &c.Quality, &c.Names)
	}, `SELECT p.id, p.study_uid, p.local_date, p.class, EXISTS (SELECT 1 FROM fact f WHERE f.procedure_id = p.id AND f.name = 'class'), p.quality, COALESCE(n.name_set_id, '')
		FROM procedure_case p LEFT JOIN procedure_names n ON n.procedure_id = p.id WHERE p.basis <> 'replaced' ORDER BY p.id`)
	if err != nil {
		return nil, nil, err
	}
	type named struct {
		id    string
		names lexicon.Names
	}
	sets, err := rows(ctx, q, func(r *sql.Rows) (named, error) {
		var n named
		var body string
		if err := r.Scan(&n.id, &body); err != nil {
			return n, err
		}
		return n, json.Unmarshal([]byte(body), &n.names)
	}, `SELECT id, body FROM name_set ORDER BY id`)
	names := make(map[string]lexicon.Names, len(sets))
	for _, n := range sets {
		names[n.id] = n.names
	}
	return cases, names, err
}

// keepNames keeps what a case is called; nil leaves it as it was.
func (c *change) keepNames(ctx context.Context, id string, names *lexicon.Names) error {
	if names == nil {
		return nil
	}
	body, err := json.Marshal(names)
	if err != nil {
		return err
	}
	sum := sha256.Sum256(body)
	key := hex.EncodeToString(sum[:16])
	if _, err := c.ExecContext(ctx, `INSERT INTO name_set (id, body) VALUES ($1, $2) ON CONFLICT (id) DO NOTHING`, key, string(body)); err != nil {
		return fmt.Errorf("keep names: %w", err)
	}
	if _, err := c.ExecContext(ctx, `INSERT INTO procedure_names (procedure_id, name_set_id) VALUES ($1, $2) ON CONFLICT (procedure_id) DO UPDATE SET name_set_id = $2`, id, key); err != nil {
		return fmt.Errorf("keep names of a case: %w", err)
	}
	return nil
}

// Unnamed lists versions, by the ids of their cases after the one given, of cases whose names are not known: they were kept by
// a program that asked for none. Only their Body and the id are filled in.
func (db *DB) Unnamed(ctx context.Context, after string, limit int) ([]Version, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Version, error) {
		var v Version
		return v, r.Scan(&v.Case.ID, &v.Body)
	}, `SELECT p.id, v.body FROM procedure_case p JOIN procedure_version v ON v.procedure_id = p.id AND v.version = p.version
		WHERE p.id > $1 AND NOT EXISTS (SELECT 1 FROM procedure_names n WHERE n.procedure_id = p.id) ORDER BY p.id LIMIT $2`, after, limit)
}

// KeepNames keeps what cases are called, by their ids, where it is not known yet.
func (db *DB) KeepNames(ctx context.Context, names map[string]lexicon.Names) error {
	return db.change(ctx, System("pipeline"), func(c *change) error {
		for id, n := range names {
			var known bool
			if err := c.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM procedure_names WHERE procedure_id = $1)`, id).Scan(&known); err != nil {
				return err
			}
			if known {
				continue
			}
			if err := c.keepNames(ctx, id, &n); err != nil {
				return err
			}
		}
		return nil
	})
}
