package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/level"
)

// LevelSetState is how a set of levels stands.
type LevelSetState string

// The states.
const (
	LevelsDraft     LevelSetState = stateDraft
	LevelsInForce   LevelSetState = "in force"
	LevelsReplaced  LevelSetState = "replaced"
	LevelsWithdrawn LevelSetState = stateWithdrawn
)

// LevelSet is a version of a site's follow-up levels.
type LevelSet struct {
	ID      string
	Version int
	State   LevelSetState
	level.Set
	Reason, Author string
	MadeAt         time.Time
	// DecidedBy approved it, or withdrew the draft.
	DecidedBy, DecidedReason string
	DecidedAt                time.Time
	// Recomputation estimates the cases anew that its approval concerns.
	Recomputation string
}

const levelSetColumns = `id, version, state, body, plain_kap, reason, author, made_at, decided_by, decided_at, decided_reason, recomputation`

func scanLevelSet(row interface{ Scan(...any) error }) (LevelSet, error) {
	var s LevelSet
	var made, decided dbTime
	var body string
	var plain bool
	if err := row.Scan(&s.ID, &s.Version, &s.State, &body, &plain, &s.Reason, &s.Author, &made, &s.DecidedBy, &decided, &s.DecidedReason, &s.Recomputation); err != nil {
		return s, kind(err)
	}
	s.MadeAt, s.DecidedAt = made.Time, decided.Time
	var err error
	if s.Set, err = level.Parse(strings.NewReader(body)); err != nil {
		return s, fmt.Errorf("level set version %d: %w", s.Version, err)
	}
	s.PlainKAP = plain
	return s, nil
}

// DraftLevels keeps a set of levels that somebody proposes. One in which nothing would be flagged is ErrInvalid.
func (db *DB) DraftLevels(ctx context.Context, actor Actor, set level.Set, reason string) (LevelSet, error) {
	var body strings.Builder
	if err := level.Write(&body, set); err != nil {
		return LevelSet{}, err
	}
	if _, err := level.Parse(strings.NewReader(body.String())); err != nil {
		return LevelSet{}, fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	if reason == "" {
		return LevelSet{}, fmt.Errorf("%w: a set of levels wants a reason", ErrInvalid)
	}
	s := LevelSet{ID: newID(), State: LevelsDraft, Set: set, Reason: reason, Author: actor.Account, MadeAt: db.now().UTC().Truncate(time.Microsecond)}
	err := db.change(ctx, actor, func(c *change) error {
		if err := c.QueryRowContext(ctx, `SELECT COALESCE(MAX(version), 0) + 1 FROM level_set`).Scan(&s.Version); err != nil {
			return err
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO level_set (id, version, state, body, plain_kap, reason, author, made_at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
			s.ID, s.Version, s.State, body.String(), set.PlainKAP, s.Reason, s.Author, at(s.MadeAt)); err != nil {
			return fmt.Errorf("insert level set: %w", err)
		}
		return c.note(ctx, audit.Record{Action: "levels.draft", Object: s.ID, Reason: reason, After: fmt.Sprintf("version %d", s.Version)})
	})
	return s, err
}

// ApproveLevels puts a draft in force from now on and asks for the cases of the last year, and for those that are followed up,
// to be estimated anew. Its author may not.
func (db *DB) ApproveLevels(ctx context.Context, actor Actor, id, reason string) (LevelSet, Recomputation, error) {
	var after LevelSet
	var asked Recomputation
	err := db.decideLevels(ctx, actor, id, reason, func(c *change, s LevelSet) error {
		if s.Author == actor.Account {
			return fmt.Errorf("%w: who drafted the levels cannot approve them", ErrConflict)
		}
		if _, err := c.ExecContext(ctx, `UPDATE level_set SET state = $1 WHERE state = $2`, LevelsReplaced, LevelsInForce); err != nil {
			return fmt.Errorf("replace levels: %w", err)
		}
		from := db.now().In(db.site).AddDate(-1, 0, 0).Format(time.DateOnly)
		var err error
		if asked, err = c.recompute(ctx, Recomputation{From: from, Reason: fmt.Sprintf("levels version %d", s.Version)}); err != nil {
			return err
		}
		if asked.Studies, err = c.alsoFollowed(ctx, asked); err != nil {
			return err
		}
		if err := c.one(ctx, "approve levels", `UPDATE level_set SET state = $2, recomputation = $3 WHERE id = $1`, id, LevelsInForce, asked.ID); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "levels.approve", Object: id, Reason: reason, After: fmt.Sprintf("version %d in force", s.Version)})
	})
	if err != nil {
		return after, asked, err
	}
	if after, err = db.LevelSet(ctx, id); err != nil {
		return after, asked, err
	}
	asked, err = db.Recomputation(ctx, asked.ID)
	return after, asked, err
}

// alsoFollowed has the studies with an open flag or ask that lie further back belong to a recomputation; it gives how many
// there are in all.
func (c *change) alsoFollowed(ctx context.Context, r Recomputation) (int, error) {
	older, err := rows(ctx, c, func(r *sql.Rows) (string, error) {
		var study string
		return study, r.Scan(&study)
	}, `SELECT DISTINCT p.study_uid FROM procedure_case p WHERE p.local_date < $1 AND (
			EXISTS (SELECT 1 FROM raised_flag f WHERE f.procedure_id = p.id AND f.state = 'open')
			OR EXISTS (SELECT 1 FROM ask a WHERE a.procedure_id = p.id AND a.state = $2)) ORDER BY 1`, r.From, ask.Open)
	if err != nil {
		return 0, err
	}
	for _, study := range older {
		if err := c.refresh(ctx, study, Background); err != nil {
			return 0, err
		}
		if err := c.alsoRecompute(ctx, []string{r.ID}, study); err != nil {
			return 0, err
		}
	}
	return r.Studies + len(older), nil
}

// WithdrawLevels ends a draft that nobody approves; it stays on record.
func (db *DB) WithdrawLevels(ctx context.Context, actor Actor, id, reason string) (LevelSet, error) {
	if err := db.withdrawDraft(ctx, actor, draftOf{table: "level_set", what: "levels", id: id, reason: reason}, "levels.withdraw"); err != nil {
		return LevelSet{}, err
	}
	return db.LevelSet(ctx, id)
}

// decideLevels does something to a draft, and keeps who did and why.
func (db *DB) decideLevels(ctx context.Context, actor Actor, id, reason string, do func(c *change, s LevelSet) error) error {
	return db.decideDraft(ctx, actor, draftOf{table: "level_set", what: "levels", id: id, reason: reason}, func(c *change) error {
		s, err := scanLevelSet(c.QueryRowContext(ctx, `SELECT `+levelSetColumns+` FROM level_set WHERE id = $1`, id))
		if err != nil {
			return err
		}
		return do(c, s)
	})
}

// LevelSet gives a version of the levels by its id.
func (db *DB) LevelSet(ctx context.Context, id string) (LevelSet, error) {
	return scanLevelSet(db.read.QueryRowContext(ctx, `SELECT `+levelSetColumns+` FROM level_set WHERE id = $1`, id))
}

// LevelSets lists the versions, the newest first.
func (db *DB) LevelSets(ctx context.Context) ([]LevelSet, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (LevelSet, error) { return scanLevelSet(r) },
		`SELECT `+levelSetColumns+` FROM level_set ORDER BY version DESC`)
}

// LevelsInForce gives the levels that were approved last; false when none ever were.
func (db *DB) LevelsInForce(ctx context.Context) (level.Set, bool, error) {
	s, err := scanLevelSet(db.read.QueryRowContext(ctx, `SELECT `+levelSetColumns+` FROM level_set WHERE state = $1`, LevelsInForce))
	if errors.Is(err, ErrNotFound) {
		return level.Set{}, false, nil
	}
	return s.Set, err == nil, err
}

// Survivors tells which patient records stand for others: by the id of the other.
func (db *DB) Survivors(ctx context.Context) (map[string]string, error) {
	type pair struct{ id, survivor string }
	pairs, err := rows(ctx, db.read, func(r *sql.Rows) (pair, error) {
		var p pair
		return p, r.Scan(&p.id, &p.survivor)
	}, `SELECT id, survivor FROM patient WHERE survivor <> id ORDER BY id`)
	byID := make(map[string]string, len(pairs))
	for _, p := range pairs {
		byID[p.id] = p.survivor
	}
	return byID, err
}
