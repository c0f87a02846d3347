package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"afterbeam/internal/audit"
)

// Retention says how long rows are kept whose keeping is a site's decision; 0 is for good.
type Retention struct {
	Sessions    time.Duration // after their end
	Notices     time.Duration // messages and tries of notices that a later notice of the case took the place of
	Versions    time.Duration // estimates that a newer one took the place of
	Commitments time.Duration // after their answer
	SkinSums    time.Duration // sums over versions that others took the place of
}

// Removal is what retention did about one class of rows, or would do.
type Removal struct {
	Class  string
	Kept   time.Duration // how long it is kept, 0 for good
	Before time.Time     // what is older goes; zero when it is kept for good
	Rows   int           // removed, or to be removed
	Needed int           // older as well, but kept since something needs them
}

// atOnce is how many rows one transaction removes, so that no door waits for long.
const atOnce = 200

// class is one row of the table of what retention may remove. older selects keys of what is older than $1; removable, a condition
// on it, holds for what nothing needs.
type class struct {
	name             string
	kept             func(Retention) time.Duration
	older, removable string
	remove           []string // each takes the keys
}

// calm is the condition that a case c has no open flag and no open ask, and that no hold covers it.
const calm = `NOT EXISTS (SELECT 1 FROM raised_flag f WHERE f.procedure_id = c.id AND f.state = 'open')
	AND NOT EXISTS (SELECT 1 FROM ask a WHERE a.procedure_id = c.id AND a.state = 'open')
	AND NOT ` + holdsPatient

// noHold is the condition that nothing holds everything.
const noHold = `NOT EXISTS (SELECT 1 FROM hold h WHERE h.ended_at = '' AND h.patient_id IS NULL)`

func classes() []class {
	return []class{
		{
			"sessions that are over", func(r Retention) time.Duration { return r.Sessions },
			`SELECT s.id, 0 FROM session s WHERE s.ends_at < $1`, noHold,
			[]string{`DELETE FROM session WHERE id = $1 AND $2 = 0`},
		},
		{
			"messages of notices that a later one took the place of", func(r Retention) time.Duration { return r.Notices },
			`SELECT m.id, 0 FROM notice_message m WHERE m.state IN ('sent', 'failed') AND m.created_at < $1`,
			// What was told last of a case stays: an amendment refers to it.
			noHold + ` AND NOT EXISTS (SELECT 1 FROM notice_in_message i JOIN notice n ON n.id = i.notice_id LEFT JOIN procedure_case c ON c.id = n.procedure_id
				WHERE i.message_id = m.id AND n.procedure_id IS NOT NULL AND NOT (EXISTS (SELECT 1 FROM notice l WHERE l.procedure_id = n.procedure_id
				AND l.created_at > n.created_at AND l.state = 'placed') AND ` + calm + `))`,
			[]string{
				`DELETE FROM notice_attempt WHERE message_id = $1 AND $2 = 0`,
				`DELETE FROM notice_in_message WHERE message_id = $1 AND $2 = 0`,
				`DELETE FROM notice_message WHERE id = $1 AND $2 = 0`,
			},
		},
		{
			"estimates that a newer one took the place of", func(r Retention) time.Duration { return r.Versions },
			`SELECT v.procedure_id, v.version FROM procedure_version v JOIN procedure_case c ON c.id = v.procedure_id WHERE v.made_at < $1 AND v.version <> c.version`,
			calm + `
				AND NOT EXISTS (SELECT 1 FROM raised_flag f WHERE f.procedure_id = c.id AND v.version IN (f.raised_version, f.reached_version))
				AND NOT EXISTS (SELECT 1 FROM paper p WHERE p.procedure_id = c.id AND p.version = v.version)
				AND NOT EXISTS (SELECT 1 FROM notice n WHERE n.procedure_id = c.id AND n.version = v.version)
				AND NOT EXISTS (SELECT 1 FROM acknowledgement k WHERE k.procedure_id = c.id AND k.version = v.version)
				AND NOT EXISTS (SELECT 1 FROM peer_review r WHERE r.procedure_id = c.id AND r.version = v.version)
				AND NOT EXISTS (SELECT 1 FROM release_procedure l WHERE l.procedure_id = c.id AND l.version = v.version)
				AND NOT EXISTS (SELECT 1 FROM own_estimate o WHERE o.procedure_id = c.id AND o.version = v.version)`,
			[]string{
				`DELETE FROM flag WHERE procedure_id = $1 AND version = $2`,
				`DELETE FROM organ_dose WHERE case_id = $1 AND version = $2`,
				`DELETE FROM procedure_version WHERE procedure_id = $1 AND version = $2`,
			},
		},
		{
			"storage commitments that were answered", func(r Retention) time.Duration { return r.Commitments },
			`SELECT t.id, 0 FROM commitment t WHERE (t.state = 'reported' AND t.reported_at < $1 OR t.state = 'given up' AND t.due_at < $1)`, `1 = 1`,
			[]string{`DELETE FROM commitment WHERE id = $1 AND $2 = 0`},
		},
		{
			"sums of skin dose that are superseded", func(r Retention) time.Duration { return r.SkinSums },
			`SELECT s.key, 0 FROM skin_sum s WHERE s.made_at < $1 AND ` + supersededSum, `1 = 1`,
			[]string{`DELETE FROM skin_sum WHERE key = $1 AND $2 = 0`},
		},
	}
}

// Retain removes what is older than the retention says and what no flag, ask, paper, notice, review, release or hold needs; dry only counts. Each
// transaction that removes something has its audit record.
func (db *DB) Retain(ctx context.Context, r Retention, dry bool) ([]Removal, error) {
	var all []Removal
	for _, k := range classes() {
		one := Removal{Class: k.name, Kept: k.kept(r)}
		if one.Kept > 0 {
			one.Before = db.now().Add(-one.Kept).UTC().Truncate(time.Second)
			if err := db.retain(ctx, k, &one, dry); err != nil {
				return all, fmt.Errorf("%s: %w", k.name, err)
			}
		}
		all = append(all, one)
	}
	return all, nil
}

func (db *DB) retain(ctx context.Context, k class, one *Removal, dry bool) error {
	var older, removable int
	err := db.snapshot(ctx, func(q querier) error {
		if err := q.QueryRowContext(ctx, `SELECT COUNT(*) FROM (`+k.older+`)`, at(one.Before)).Scan(&older); err != nil {
			return kind(err)
		}
		return kind(q.QueryRowContext(ctx, `SELECT COUNT(*) FROM (`+k.older+` AND `+k.removable+`)`, at(one.Before)).Scan(&removable))
	})
	one.Needed = older - removable
	if err != nil || dry {
		one.Rows = removable
		return err
	}
	for {
		n, err := db.removeSome(ctx, k, one.Before)
		one.Rows += n
		if err != nil || n == 0 {
			return err
		}
	}
}

// removeSome removes the next rows of a class.
func (db *DB) removeSome(ctx context.Context, k class, before time.Time) (removed int, err error) {
	type key struct {
		id     string
		number int64
	}
	err = db.change(ctx, System("retention"), func(c *change) error {
		keys, err := rows(ctx, c, func(r *sql.Rows) (one key, err error) {
			err = r.Scan(&one.id, &one.number)
			return one, err
		}, k.older+` AND `+k.removable+` LIMIT $2`, at(before), atOnce)
		if err != nil || len(keys) == 0 {
			return err
		}
		for _, one := range keys {
			for _, statement := range k.remove {
				if _, err := c.ExecContext(ctx, statement, one.id, one.number); err != nil {
					return err
				}
			}
		}
		removed = len(keys)
		return c.note(ctx, audit.Record{Action: "retention.remove", Object: k.name, Reason: fmt.Sprintf("%d rows from before %s", removed, before.Format(time.RFC3339))})
	})
	if err != nil {
		return 0, err
	}
	return removed, nil
}
