package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/followup/acceptance"
)

// Acceptance is a comparison of what consoles showed with what the service made of the reports, as it was that day.
type Acceptance struct {
	ID             string
	Reason, MadeBy string
	MadeAt         time.Time
	// TolerancePercent is what readings and service might differ by beyond the rounding of the display.
	TolerancePercent float64
	Rows             []acceptance.Row
	AllAgree         bool
	// SignedBy is another physicist, "" while nobody signed.
	SignedBy, SignReason string
	SignedAt             time.Time
}

const acceptanceColumns = `id, made_at, made_by, reason, tolerance, rows, all_agree, signed_at, signed_by, sign_reason`

func scanAcceptance(row interface{ Scan(...any) error }) (Acceptance, error) {
	var a Acceptance
	var made, signed dbTime
	var rows string
	if err := row.Scan(&a.ID, &made, &a.MadeBy, &a.Reason, &a.TolerancePercent, &rows, &a.AllAgree, &signed, &a.SignedBy, &a.SignReason); err != nil {
		return a, kind(err)
	}
	a.MadeAt, a.SignedAt = made.Time, signed.Time
	if err := json.Unmarshal([]byte(rows), &a.Rows); err != nil {
		return a, fmt.Errorf("acceptance %s: %w", a.ID, err)
	}
	return a, nil
}

// KeepAcceptance keeps a comparison. One without rows or reason is ErrInvalid.
func (db *DB) KeepAcceptance(ctx context.Context, actor Actor, a Acceptance) (Acceptance, error) {
	if len(a.Rows) == 0 || a.Reason == "" {
		return a, fmt.Errorf("%w: an acceptance wants readings and a reason", ErrInvalid)
	}
	body, err := json.Marshal(a.Rows)
	if err != nil {
		return a, err
	}
	a.ID, a.MadeBy, a.MadeAt, a.AllAgree = newID(), actor.Account, db.now().UTC().Truncate(time.Microsecond), acceptance.AllAgree(a.Rows)
	err = db.change(ctx, actor, func(c *change) error {
		if _, err := c.ExecContext(ctx, `INSERT INTO acceptance (id, made_at, made_by, reason, tolerance, rows, all_agree) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
			a.ID, at(a.MadeAt), a.MadeBy, a.Reason, a.TolerancePercent, string(body), a.AllAgree); err != nil {
			return fmt.Errorf("insert acceptance: %w", err)
		}
		return c.note(ctx, audit.Record{Action: "acceptance.make", Object: a.ID, Reason: a.Reason, After: fmt.Sprintf("%d readings, all agree: %t", len(a.Rows), a.AllAgree)})
	})
	return a, err
}

// SignAcceptance keeps that another physicist has read a comparison, whatever came of it.
func (db *DB) SignAcceptance(ctx context.Context, actor Actor, id, reason string) (Acceptance, error) {
	if reason == "" {
		return Acceptance{}, fmt.Errorf("%w: signing wants a reason", ErrInvalid)
	}
	err := db.change(ctx, actor, func(c *change) error {
		a, err := scanAcceptance(c.QueryRowContext(ctx, `SELECT `+acceptanceColumns+` FROM acceptance WHERE id = $1`, id))
		switch {
		case err != nil:
			return err
		case a.SignedBy != "":
			return fmt.Errorf("%w: the acceptance is signed already", ErrConflict)
		case a.MadeBy == actor.Account:
			return fmt.Errorf("%w: who compared the readings cannot sign them", ErrConflict)
		}
		if err := c.one(ctx, "sign acceptance", `UPDATE acceptance SET signed_at = $2, signed_by = $3, sign_reason = $4 WHERE id = $1`, id, at(db.now()), actor.Account, reason); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "acceptance.sign", Object: id, Reason: reason, After: fmt.Sprintf("all agree: %t", a.AllAgree)})
	})
	if err != nil {
		return Acceptance{}, err
	}
	return db.Acceptance(ctx, id)
}

// Acceptance gives one. It returns ErrNotFound.
func (db *DB) Acceptance(ctx context.Context, id string) (Acceptance, error) {
	return scanAcceptance(db.read.QueryRowContext(ctx, `SELECT `+acceptanceColumns+` FROM acceptance WHERE id = $1`, id))
}

// mostAcceptances bounds the list: a site makes a few a year.
const mostAcceptances = 500

// Acceptances lists the comparisons, the newest first.
func (db *DB) Acceptances(ctx context.Context) ([]Acceptance, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Acceptance, error) { return scanAcceptance(r) },
		`SELECT `+acceptanceColumns+` FROM acceptance ORDER BY made_at DESC, id LIMIT $1`, mostAcceptances)
}
