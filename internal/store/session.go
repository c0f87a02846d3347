package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"time"

	"afterbeam/internal/audit"
)

// Session is a person's stay at the pages, from signing in to its end. Its secret is kept as a hash.
type Session struct {
	ID      string
	Account Account
	Way     string // how the person signed in: password, openid, setup
	Source  string // network address
	Agent   string // what the browser says it is
	BegunAt time.Time
	// ConfirmedAt is when the person last proved who it is.
	ConfirmedAt time.Time
	// SeenAt is when it was last used, as far as SessionSeen was told.
	SeenAt  time.Time
	EndsAt  time.Time // it ends then whatever happens
	EndedAt time.Time // zero while it lasts
}

const sessionColumns = `s.id, s.way, s.source, s.agent, s.begun_at, s.confirmed_at, s.seen_at, s.ends_at, s.ended_at,
	a.id, a.name, a.role, a.rooms, a.created_at, a.disabled_at, a.own_cases`

func scanSession(row interface{ Scan(...any) error }) (Session, error) {
	var s Session
	var begun, confirmed, seen, ends, ended, made, disabled dbTime
	var rooms string
	err := row.Scan(&s.ID, &s.Way, &s.Source, &s.Agent, &begun, &confirmed, &seen, &ends, &ended,
		&s.Account.ID, &s.Account.Name, &s.Account.Role, &rooms, &made, &disabled, &s.Account.OwnCases)
	if err != nil {
		return s, kind(err)
	}
	s.BegunAt, s.ConfirmedAt, s.SeenAt, s.EndsAt, s.EndedAt = begun.Time, confirmed.Time, seen.Time, ends.Time, ended.Time
	s.Account.CreatedAt, s.Account.DisabledAt = made.Time, disabled.Time
	return s, json.Unmarshal([]byte(rooms), &s.Account.Rooms)
}

// BeginSession begins a session of an account that is not disabled, under the hash of its secret, until a time at most.
func (db *DB) BeginSession(ctx context.Context, actor Actor, s Session, hash string) (Session, error) {
	now := db.now().UTC().Truncate(time.Microsecond)
	s.ID, s.BegunAt, s.ConfirmedAt, s.SeenAt, s.EndsAt = newID(), now, now, now, s.EndsAt.UTC().Truncate(time.Microsecond)
	err := db.change(ctx, actor, func(c *change) (err error) {
		s.Account, err = scanAccount(c.QueryRowContext(ctx, `SELECT `+accountColumns+` FROM account WHERE id = $1 AND disabled_at = ''`, s.Account.ID))
		if err != nil {
			return err
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO session (id, hash, account_id, way, source, agent, begun_at, confirmed_at, seen_at, ends_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $7, $7, $8)`,
			s.ID, hash, s.Account.ID, s.Way, s.Source, s.Agent, at(now), at(s.EndsAt)); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "session.begin", Object: s.ID, After: s.Way})
	})
	return s, err
}

// SessionByHash finds a session by the hash of its secret, whatever its state: the caller decides what may still be used.
func (db *DB) SessionByHash(ctx context.Context, hash string) (Session, error) {
	return scanSession(db.read.QueryRowContext(ctx, `SELECT `+sessionColumns+` FROM session s JOIN account a ON a.id = s.account_id WHERE s.hash = $1`, hash))
}

// SessionsOf lists the sessions of an account that are not over, the newest first.
func (db *DB) SessionsOf(ctx context.Context, account string) ([]Session, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Session, error) { return scanSession(r) },
		`SELECT `+sessionColumns+` FROM session s JOIN account a ON a.id = s.account_id
		WHERE s.account_id = $1 AND s.ended_at = '' AND s.ends_at > $2 ORDER BY s.begun_at DESC, s.id`, account, at(db.now()))
}

// SessionSeen notes that a session was used; it is not audited, since what it was used for is.
func (db *DB) SessionSeen(ctx context.Context, id string) error {
	_, err := db.write.ExecContext(ctx, `UPDATE session SET seen_at = $2 WHERE id = $1`, id, at(db.now()))
	return kind(err)
}

// ConfirmSession notes that the person proved once more who it is.
func (db *DB) ConfirmSession(ctx context.Context, actor Actor, id string) error {
	return db.change(ctx, actor, func(c *change) error {
		if err := c.one(ctx, "confirm session", `UPDATE session SET confirmed_at = $2, seen_at = $2 WHERE id = $1 AND ended_at = ''`, id, at(db.now())); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "session.confirm", Object: id})
	})
}

// EndSession ends a session of an account from the next request on; one that is over or another's is ErrNotFound.
func (db *DB) EndSession(ctx context.Context, actor Actor, account, id, reason string) error {
	return db.change(ctx, actor, func(c *change) error {
		if err := c.one(ctx, "end session", `UPDATE session SET ended_at = $3 WHERE id = $1 AND account_id = $2 AND ended_at = ''`, id, account, at(db.now())); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "session.end", Object: id, Reason: reason})
	})
}

// EndSessions ends every session of an account.
func (db *DB) EndSessions(ctx context.Context, actor Actor, account, reason string) error {
	return db.change(ctx, actor, func(c *change) error { return c.endSessions(ctx, account, reason) })
}

func (c *change) endSessions(ctx context.Context, account, reason string) error {
	open, err := rows(ctx, c, func(r *sql.Rows) (string, error) {
		var id string
		return id, r.Scan(&id)
	}, `SELECT id FROM session WHERE account_id = $1 AND ended_at = '' ORDER BY begun_at, id`, account)
	if err != nil {
		return err
	}
	for _, id := range open {
		if _, err := c.ExecContext(ctx, `UPDATE session SET ended_at = $2 WHERE id = $1`, id, at(c.db.now())); err != nil {
			return err
		}
		if err := c.note(ctx, audit.Record{Action: "session.end", Object: id, Reason: reason}); err != nil {
			return err
		}
	}
	return nil
}
