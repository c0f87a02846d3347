package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"afterbeam/internal/audit"
)

// PasswordOf gives the account of a name and the Argon2id string of its password. A name that there is not, a disabled
// account and one without a password are ErrNotFound, all alike.
func (db *DB) PasswordOf(ctx context.Context, name string) (Account, string, error) {
	var a Account
	var hash string
	err := db.snapshot(ctx, func(q querier) (err error) {
		a, err = scanAccount(q.QueryRowContext(ctx, `SELECT `+accountColumns+` FROM account WHERE name = $1 AND disabled_at = ''`, name))
		if err != nil {
			return err
		}
		return q.QueryRowContext(ctx, `SELECT hash FROM password WHERE account_id = $1`, a.ID).Scan(&hash)
	})
	return a, hash, kind(err)
}

// OfferPassword keeps the hash of a one-time link by which the person of an account sets a password until a time; the link
// before it is of no use any more. An account that is disabled or not there is ErrNotFound.
func (db *DB) OfferPassword(ctx context.Context, actor Actor, account, hash string, until time.Time) error {
	return db.change(ctx, actor, func(c *change) error {
		if _, err := scanAccount(c.QueryRowContext(ctx, `SELECT `+accountColumns+` FROM account WHERE id = $1 AND disabled_at = ''`, account)); err != nil {
			return err
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO password_link (account_id, hash, made_at, ends_at) VALUES ($1, $2, $3, $4)
			ON CONFLICT (account_id) DO UPDATE SET hash = $2, made_at = $3, ends_at = $4`, account, hash, at(db.now()), at(until)); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "password.offer", Object: account, After: until.UTC().Format(time.RFC3339)})
	})
}

// OfferedTo gives the account that a one-time link is for; one that is spent, late or of a disabled account is ErrNotFound.
func (db *DB) OfferedTo(ctx context.Context, hash string) (Account, error) {
	return db.offeredTo(ctx, db.read, hash)
}

func (db *DB) offeredTo(ctx context.Context, q interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}, hash string,
) (Account, error) {
	return scanAccount(q.QueryRowContext(ctx, `SELECT `+accountColumns+` FROM account
		WHERE disabled_at = '' AND id = (SELECT account_id FROM password_link WHERE hash = $1 AND ends_at > $2)`, hash, at(db.now())))
}

// SetPassword spends a one-time link on a password and ends every session of the account.
func (db *DB) SetPassword(ctx context.Context, source, link, hash string) (Account, error) {
	var a Account
	err := db.change(ctx, Actor{Source: source}, func(c *change) (err error) {
		if a, err = db.offeredTo(ctx, c, link); err != nil {
			return err
		}
		c.actor.Account, c.actor.Role = a.ID, a.Role
		if err := c.one(ctx, "spend link", `DELETE FROM password_link WHERE account_id = $1`, a.ID); err != nil {
			return err
		}
		return c.setPassword(ctx, a.ID, hash)
	})
	return a, err
}

// ChangePassword sets the password of an account whose person proved who it is, and ends every session of the account.
func (db *DB) ChangePassword(ctx context.Context, actor Actor, account, hash string) error {
	return db.change(ctx, actor, func(c *change) error { return c.setPassword(ctx, account, hash) })
}

func (c *change) setPassword(ctx context.Context, account, hash string) error {
	if _, err := c.ExecContext(ctx, `INSERT INTO password (account_id, hash, set_at) VALUES ($1, $2, $3)
		ON CONFLICT (account_id) DO UPDATE SET hash = $2, set_at = $3`, account, hash, at(c.db.now())); err != nil {
		return err
	}
	if err := c.note(ctx, audit.Record{Action: "password.set", Object: account}); err != nil {
		return err
	}
	return c.endSessions(ctx, account, "password set")
}

// Outside is who somebody is at an issuer of OpenID.
type Outside struct {
	Issuer, Subject string
	// Name is the value of the claim that names an account here.
	Name string
}

// AccountOfOutside gives the account of an identity elsewhere. The first time it is the enabled account of that name, which
// is bound to the identity from then on; an account that is bound to another one of the same issuer is ErrConflict, none at
// all ErrNotFound.
func (db *DB) AccountOfOutside(ctx context.Context, source string, o Outside) (Account, error) {
	var a Account
	err := db.change(ctx, Actor{Source: source}, func(c *change) (err error) {
		a, err = scanAccount(c.QueryRowContext(ctx, `SELECT `+accountColumns+` FROM account
			WHERE id = (SELECT account_id FROM outside_identity WHERE issuer = $1 AND subject = $2)`, o.Issuer, o.Subject))
		switch {
		case err == nil && !a.DisabledAt.IsZero():
			return fmt.Errorf("%w: account disabled", ErrNotFound)
		case err == nil || !errors.Is(err, ErrNotFound):
			return err
		}
		if a, err = scanAccount(c.QueryRowContext(ctx, `SELECT `+accountColumns+` FROM account WHERE name = $1 AND disabled_at = ''`, o.Name)); err != nil {
			return err
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO outside_identity (issuer, subject, account_id, bound_at) VALUES ($1, $2, $3, $4)`,
			o.Issuer, o.Subject, a.ID, at(db.now())); err != nil {
			return err
		}
		c.actor.Account, c.actor.Role = a.ID, a.Role
		return c.note(ctx, audit.Record{Action: "account.bind", Object: a.ID, After: o.Issuer})
	})
	return a, err
}
