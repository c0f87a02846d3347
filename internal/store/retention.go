package store

import (
	"context"
	"fmt"
	"time"
)

// ForgetAnswered deletes at most so many storage commitments whose answer was delivered, or given up, before a time, and gives
// their number. That they were asked and answered stands in the audit record; asked again, one is answered anew.
func (db *DB) ForgetAnswered(ctx context.Context, before time.Time, most int) (int, error) {
	return db.forget(ctx, "commitments", `DELETE FROM commitment WHERE id IN (SELECT id FROM commitment
		WHERE state = 'reported' AND reported_at < $1 OR state = 'given up' AND due_at < $1 LIMIT $2)`, before, most)
}

// supersededSum is the condition that no answer asks for a sum s any more.
const supersededSum = `(NOT EXISTS (SELECT 1 FROM skin_sum_version m WHERE m.key = s.key)
	OR EXISTS (SELECT 1 FROM skin_sum_version m WHERE m.key = s.key AND NOT EXISTS (SELECT 1 FROM procedure_version v
		JOIN procedure_case c ON c.id = v.procedure_id AND c.version = v.version WHERE v.digest = m.digest)))`

// ForgetSuperseded deletes at most so many sums of skin dose made before a time in which a version is not its case's newest any
// more, and gives their number. No answer asks for them again. A sum of which it is not known what it is made of, from before
// that was written down, goes too.
func (db *DB) ForgetSuperseded(ctx context.Context, before time.Time, most int) (int, error) {
	return db.forget(ctx, "skin sums", `DELETE FROM skin_sum WHERE key IN (SELECT key FROM skin_sum s WHERE s.made_at < $1 AND `+supersededSum+` LIMIT $2)`, before, most)
}

func (db *DB) forget(ctx context.Context, what, statement string, before time.Time, most int) (rows int, err error) {
	err = db.change(ctx, System("pipeline"), func(c *change) error {
		result, err := c.ExecContext(ctx, statement, at(before), most)
		if err != nil {
			return fmt.Errorf("forget %s: %w", what, err)
		}
		changed, err := result.RowsAffected()
		rows = int(changed)
		return err
	})
	return rows, err
}
