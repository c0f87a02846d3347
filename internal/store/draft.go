package store

import (
	"context"
	"fmt"

	"afterbeam/internal/audit"
)

// How a version stands that somebody wrote and nobody decided about, and one that was taken back.
const (
	stateDraft     = "draft"
	stateWithdrawn = "withdrawn"
)

// draftOf is a draft of a table of versions that somebody decides about, and why.
type draftOf struct{ table, what, id, reason string }

// withdrawDraft ends a draft; it stays on record. action is what the audit record calls it.
func (db *DB) withdrawDraft(ctx context.Context, actor Actor, d draftOf, action string) error {
	return db.decideDraft(ctx, actor, d, func(c *change) error {
		if err := c.one(ctx, action, `UPDATE `+d.table+` SET state = $2 WHERE id = $1`, d.id, stateWithdrawn); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: action, Object: d.id, Reason: d.reason})
	})
}

// decideDraft keeps who decided about a draft and why, and does what was decided. A version that is no draft is ErrConflict; do
// sees it as it stood but for that.
func (db *DB) decideDraft(ctx context.Context, actor Actor, d draftOf, do func(c *change) error) error {
	if d.reason == "" {
		return fmt.Errorf("%w: deciding about %s wants a reason", ErrInvalid, d.what)
	}
	return db.change(ctx, actor, func(c *change) error {
		var state string
		if err := c.QueryRowContext(ctx, `SELECT state FROM `+d.table+` WHERE id = $1`, d.id).Scan(&state); err != nil {
			return kind(err)
		}
		if state != stateDraft {
			return fmt.Errorf("%w: this version of %s is %s", ErrConflict, d.what, state)
		}
		if err := c.one(ctx, "decide", `UPDATE `+d.table+` SET decided_by = $2, decided_at = $3, decided_reason = $4 WHERE id = $1`,
			d.id, actor.Account, at(db.now()), d.reason); err != nil {
			return err
		}
		return do(c)
	})
}
