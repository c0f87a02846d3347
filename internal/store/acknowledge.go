package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/followup/notice"
)

// Acknowledgement says that an account has seen an estimate of a case.
type Acknowledgement struct {
	CaseID  string
	Account string
	Version int
	MadeAt  time.Time
}

// Acknowledge notes that the actor's account has seen a version of a case, 0 being the newest. The first time stands: said
// again it changes nothing.
func (db *DB) Acknowledge(ctx context.Context, actor Actor, caseID string, version int) (a Acknowledgement, err error) {
	a = Acknowledgement{CaseID: caseID, Account: actor.Account, MadeAt: db.now().UTC().Truncate(time.Microsecond)}
	err = db.change(ctx, actor, func(c *change) error {
		if err := c.QueryRowContext(ctx, `SELECT version FROM procedure_version WHERE procedure_id = $1
			AND version = CASE WHEN $2 = 0 THEN (SELECT version FROM procedure_case WHERE id = $1) ELSE $2 END`, caseID, version).Scan(&a.Version); err != nil {
			return err
		}
		var made dbTime
		err := c.QueryRowContext(ctx, `SELECT made_at FROM acknowledgement WHERE procedure_id = $1 AND account_id = $2 AND version = $3`, caseID, a.Account, a.Version).Scan(&made)
		if err == nil {
			a.MadeAt = made.Time
			return nil
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO acknowledgement (procedure_id, account_id, version, made_at) VALUES ($1, $2, $3, $4)`,
			caseID, a.Account, a.Version, at(a.MadeAt)); err != nil {
			return fmt.Errorf("acknowledge: %w", err)
		}
		return c.note(ctx, audit.Record{Action: "procedure.acknowledge", Object: fmt.Sprintf("%s/%d", caseID, a.Version)})
	})
	return a, err
}

// Acknowledgements lists who has seen which version of a case, the oldest first.
func (db *DB) Acknowledgements(ctx context.Context, caseID string) ([]Acknowledgement, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Acknowledgement, error) {
		var a Acknowledgement
		var made dbTime
		err := r.Scan(&a.CaseID, &a.Account, &a.Version, &made)
		a.MadeAt = made.Time
		return a, err
	}, `SELECT procedure_id, account_id, version, made_at FROM acknowledgement WHERE procedure_id = $1 ORDER BY made_at, account_id, version`, caseID)
}

// NoticePreferences gives what an account has chosen, nothing when it never did.
func (db *DB) NoticePreferences(ctx context.Context, account string) (p notice.Preferences, err error) {
	var body string
	err = db.read.QueryRowContext(ctx, `SELECT body FROM notice_preference WHERE account_id = $1`, account).Scan(&body)
	if errors.Is(err, sql.ErrNoRows) {
		return p, nil
	}
	if err != nil {
		return p, kind(err)
	}
	return p, json.Unmarshal([]byte(body), &p)
}

// SetNoticePreferences replaces what an account has chosen. The caller has checked that it can be used.
func (db *DB) SetNoticePreferences(ctx context.Context, actor Actor, account string, p notice.Preferences) error {
	body, err := json.Marshal(p)
	if err != nil {
		return err
	}
	return db.change(ctx, actor, func(c *change) error {
		if _, err := c.ExecContext(ctx, `INSERT INTO notice_preference (account_id, body, changed_by, changed_at) VALUES ($1, $2, $3, $4)
			ON CONFLICT (account_id) DO UPDATE SET body = $2, changed_by = $3, changed_at = $4`, account, string(body), actor.Account, at(db.now())); err != nil {
			return fmt.Errorf("keep preferences: %w", err)
		}
		return c.note(ctx, audit.Record{Action: "notice.prefer", Object: account})
	})
}
