package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"afterbeam/internal/audit"
)

// Account is a person or an interface that may use the service.
type Account struct {
	ID    string
	Name  string
	Role  string
	Rooms []string // the rooms it may see; nil is every room
	// OwnCases narrows what it sees to the cases in which its persons took part.
	OwnCases   bool
	CreatedAt  time.Time
	DisabledAt time.Time
}

// Token is an API token as the store knows it: its hash, never its secret.
type Token struct {
	ID         string
	Account    Account
	Prefix     string // the first characters, to tell tokens apart
	Purpose    string
	CreatedAt  time.Time
	ExpiresAt  time.Time
	LastUsedAt time.Time
	RevokedAt  time.Time
}

// AddAccount makes an account that sees every case of its rooms; see MakeAccount.
func (db *DB) AddAccount(ctx context.Context, actor Actor, name, role string, rooms []string) (Account, error) {
	return db.MakeAccount(ctx, actor, Account{Name: name, Role: role, Rooms: rooms})
}

// MakeAccount makes an account of a name, role and scope; a name that is taken is ErrConflict.
func (db *DB) MakeAccount(ctx context.Context, actor Actor, a Account) (Account, error) {
	a.ID, a.CreatedAt = newID(), db.now().UTC().Truncate(time.Microsecond)
	list, err := json.Marshal(a.Rooms)
	if err != nil {
		return a, err
	}
	err = db.change(ctx, actor, func(c *change) error {
		if _, err := c.ExecContext(ctx, `INSERT INTO account (id, name, role, rooms, created_at, own_cases) VALUES ($1, $2, $3, $4, $5, $6)`,
			a.ID, a.Name, a.Role, string(list), at(a.CreatedAt), a.OwnCases); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "account.add", Object: a.ID, After: a.Role})
	})
	return a, err
}

// DisableAccount ends an account and with it every token of it, from the next request on.
func (db *DB) DisableAccount(ctx context.Context, actor Actor, id, reason string) error {
	defer db.tokens.forget()
	return db.change(ctx, actor, func(c *change) error {
		if err := c.one(ctx, "disable account", `UPDATE account SET disabled_at = $2 WHERE id = $1 AND disabled_at = ''`, id, at(db.now())); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "account.disable", Object: id, Reason: reason})
	})
}

// Accounts lists the accounts by name.
func (db *DB) Accounts(ctx context.Context) ([]Account, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Account, error) { return scanAccount(r) }, `SELECT `+accountColumns+` FROM account ORDER BY name`)
}

const accountColumns = `id, name, role, rooms, created_at, disabled_at, own_cases`

func scanAccount(row interface{ Scan(...any) error }) (Account, error) {
	var a Account
	var created, disabled dbTime
	var rooms string
	if err := row.Scan(&a.ID, &a.Name, &a.Role, &rooms, &created, &disabled, &a.OwnCases); err != nil {
		return a, kind(err)
	}
	a.CreatedAt, a.DisabledAt = created.Time, disabled.Time
	return a, json.Unmarshal([]byte(rooms), &a.Rooms)
}

// AddToken stores the hash of a new token of an account.
func (db *DB) AddToken(ctx context.Context, actor Actor, account, prefix, hash, purpose string, expires time.Time) (Token, error) {
	t := Token{ID: newID(), Prefix: prefix, Purpose: purpose, CreatedAt: db.now().UTC().Truncate(time.Microsecond), ExpiresAt: expires.UTC().Truncate(time.Microsecond)}
	err := db.change(ctx, actor, func(c *change) (err error) {
		t.Account, err = scanAccount(c.QueryRowContext(ctx, `SELECT `+accountColumns+` FROM account WHERE id = $1 AND disabled_at = ''`, account))
		if err != nil {
			return err
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO token (id, account_id, prefix, hash, purpose, created_at, expires_at) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
			t.ID, account, prefix, hash, purpose, at(t.CreatedAt), at(t.ExpiresAt)); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "token.add", Object: t.ID, After: account})
	})
	return t, err
}

const ownedColumns = `t.id, t.prefix, t.purpose, t.created_at, t.expires_at, t.last_used_at, t.revoked_at, a.id, a.name, a.role, a.rooms, a.created_at, a.disabled_at, a.own_cases`

func scanToken(row interface{ Scan(...any) error }) (Token, error) {
	var t Token
	var created, expires, used, revoked, accountMade, disabled dbTime
	var rooms string
	err := row.Scan(&t.ID, &t.Prefix, &t.Purpose, &created, &expires, &used, &revoked,
		&t.Account.ID, &t.Account.Name, &t.Account.Role, &rooms, &accountMade, &disabled, &t.Account.OwnCases)
	if err != nil {
		return t, kind(err)
	}
	t.CreatedAt, t.ExpiresAt, t.LastUsedAt, t.RevokedAt = created.Time, expires.Time, used.Time, revoked.Time
	t.Account.CreatedAt, t.Account.DisabledAt = accountMade.Time, disabled.Time
	return t, json.Unmarshal([]byte(rooms), &t.Account.Rooms)
}

// TokenByHash finds a token by the hash of its secret, whatever its state: the caller decides what may still be used. When
// it was last used may lie behind; the rest is what the last change left.
func (db *DB) TokenByHash(ctx context.Context, hash string) (Token, error) {
	t, age, found := db.tokens.get(hash)
	if found {
		return t, nil
	}
	t, err := scanToken(db.read.QueryRowContext(ctx, `SELECT `+ownedColumns+` FROM token t JOIN account a ON a.id = t.account_id WHERE t.hash = $1`, hash))
	if err == nil && db.lock != nil {
		db.tokens.keep(hash, t, age)
	}
	return t, err
}

// Tokens lists every token, newest first.
func (db *DB) Tokens(ctx context.Context) ([]Token, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Token, error) { return scanToken(r) },
		`SELECT `+ownedColumns+` FROM token t JOIN account a ON a.id = t.account_id ORDER BY t.created_at DESC, t.id`)
}

// TokenUsed notes when a token was last used; it is not audited, since every use has its own record.
func (db *DB) TokenUsed(ctx context.Context, id string) error {
	_, err := db.write.ExecContext(ctx, `UPDATE token SET last_used_at = $2 WHERE id = $1`, id, at(db.now()))
	return kind(err)
}

// RevokeToken ends a token from the next request on.
func (db *DB) RevokeToken(ctx context.Context, actor Actor, id, reason string) error {
	defer db.tokens.forget()
	return db.change(ctx, actor, func(c *change) error {
		if err := c.one(ctx, "revoke token", `UPDATE token SET revoked_at = $2 WHERE id = $1 AND revoked_at = ''`, id, at(db.now())); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "token.revoke", Object: id, Reason: reason})
	})
}

// settingSetup holds the hash of the one-time setup token.
const settingSetup = "setup_token_hash"

// OfferSetup stores the hash of a one-time setup token when there is no account yet; offered tells whether it did.
func (db *DB) OfferSetup(ctx context.Context, hash string) (offered bool, err error) {
	err = db.change(ctx, System("setup"), func(c *change) error {
		var accounts int
		if err := c.QueryRowContext(ctx, `SELECT COUNT(*) FROM account`).Scan(&accounts); err != nil {
			return err
		}
		if accounts > 0 {
			return nil
		}
		offered = true
		_, err := c.ExecContext(ctx, `INSERT INTO setting (name, value) VALUES ($1, $2) ON CONFLICT (name) DO UPDATE SET value = $2`, settingSetup, hash)
		if err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "setup.offer"})
	})
	return offered && err == nil, err
}

// settingRescue holds the hash of a one-time token of the console and when it ends.
const settingRescue = "rescue_token"

// OfferRescue stores the hash of a one-time token that makes one more administrator until a time, for a site whose
// administrators have no valid token left. Whoever asks for it has the machine's own rights to the store. It replaces the one
// before.
func (db *DB) OfferRescue(ctx context.Context, actor Actor, hash string, until time.Time) error {
	return db.change(ctx, actor, func(c *change) error {
		if _, err := c.ExecContext(ctx, `INSERT INTO setting (name, value) VALUES ($1, $2) ON CONFLICT (name) DO UPDATE SET value = $2`,
			settingRescue, hash+" "+until.UTC().Format(time.RFC3339)); err != nil {
			return fmt.Errorf("offer rescue token: %w", err)
		}
		return c.note(ctx, audit.Record{Action: "rescue.offer", After: until.UTC().Format(time.RFC3339)})
	})
}

// spend takes the setup token, as long as there is no account, or the console's token in its time, and says which.
func (c *change) spend(ctx context.Context, hash string) (action string, err error) {
	for name, action := range map[string]string{settingSetup: "setup.use", settingRescue: "rescue.use"} {
		var kept string
		err := c.QueryRowContext(ctx, `SELECT value FROM setting WHERE name = $1 AND ($1 <> $2 OR NOT EXISTS (SELECT 1 FROM account))`, name, settingSetup).Scan(&kept)
		if errors.Is(err, sql.ErrNoRows) {
			continue
		}
		if err != nil {
			return "", err
		}
		want, until := hash, ""
		if name == settingRescue {
			until = kept[strings.LastIndex(kept, " ")+1:]
			want += " " + until
		}
		if kept != want || (until != "" && until <= c.db.now().UTC().Format(time.RFC3339)) {
			continue
		}
		return action, c.one(ctx, "spend token", `DELETE FROM setting WHERE name = $1`, name)
	}
	return "", fmt.Errorf("%w: no such setup token", ErrNotFound)
}

// UseSetup spends the setup token, or the console's, and makes an account with its token, all in one transaction. A wrong,
// spent or late token, or a setup token that was offered before an account came by another way, is ErrNotFound.
func (db *DB) UseSetup(ctx context.Context, hash string, first Account, prefix, tokenHash string, expires time.Time) (Account, error) {
	first.ID, first.CreatedAt = newID(), db.now().UTC().Truncate(time.Microsecond)
	err := db.change(ctx, System("setup"), func(c *change) error {
		action, err := c.spend(ctx, hash)
		if err != nil {
			return err
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO account (id, name, role, rooms, created_at) VALUES ($1, $2, $3, 'null', $4)`,
			first.ID, first.Name, first.Role, at(first.CreatedAt)); err != nil {
			return err
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO token (id, account_id, prefix, hash, purpose, created_at, expires_at) VALUES ($1, $2, $3, $4, 'setup', $5, $6)`,
			newID(), first.ID, prefix, tokenHash, at(first.CreatedAt), at(expires)); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: action, Object: first.ID, After: first.Role})
	})
	return first, err
}
