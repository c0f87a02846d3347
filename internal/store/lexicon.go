package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/procedure/lexicon"
)

// LexiconState is how a version of the lexicon stands.
type LexiconState string

// The states.
const (
	LexiconDraft     LexiconState = stateDraft
	LexiconInForce   LexiconState = "in force"
	LexiconReplaced  LexiconState = "replaced"
	LexiconWithdrawn LexiconState = stateWithdrawn
)

// LexiconVersion is a version of what a site calls its procedures: rows that stand over the table of the settings, which is
// version 0.
type LexiconVersion struct {
	ID      string
	Version int
	Base    int // the version that was in force when it was drafted
	State   LexiconState
	Rows    []lexicon.Row
	Reason  string
	Author  string
	MadeAt  time.Time
	// DecidedBy published it, or withdrew the draft.
	DecidedBy, DecidedReason string
	DecidedAt                time.Time
	// Recomputation estimates the cases anew that it classes otherwise.
	Recomputation string
}

const lexiconColumns = `id, version, base, state, body, reason, author, made_at, decided_by, decided_at, decided_reason, recomputation`

func scanLexicon(row interface{ Scan(...any) error }) (LexiconVersion, error) {
	var l LexiconVersion
	var made, decided dbTime
	var body string
	if err := row.Scan(&l.ID, &l.Version, &l.Base, &l.State, &body, &l.Reason, &l.Author, &made, &l.DecidedBy, &decided, &l.DecidedReason, &l.Recomputation); err != nil {
		return l, kind(err)
	}
	l.MadeAt, l.DecidedAt = made.Time, decided.Time
	var err error
	if l.Rows, err = lexicon.ReadRows(strings.NewReader(body)); err != nil {
		return l, fmt.Errorf("lexicon version %d: %w", l.Version, err)
	}
	return l, nil
}

// DraftLexicon keeps rows that somebody proposes for the site, who started from version base; ErrConflict when another one has
// come in force since. Rows that cannot be used are ErrInvalid.
func (db *DB) DraftLexicon(ctx context.Context, actor Actor, base int, rows []lexicon.Row, reason string) (LexiconVersion, error) {
	if _, err := lexicon.Default().Over(rows); err != nil {
		return LexiconVersion{}, fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	var body strings.Builder
	if err := lexicon.WriteRows(&body, rows); err != nil {
		return LexiconVersion{}, err
	}
	if reason == "" {
		return LexiconVersion{}, fmt.Errorf("%w: a version of the lexicon wants a reason", ErrInvalid)
	}
	l := LexiconVersion{ID: newID(), Base: base, State: LexiconDraft, Rows: rows, Reason: reason, Author: actor.Account, MadeAt: db.now().UTC().Truncate(time.Microsecond)}
	err := db.change(ctx, actor, func(c *change) error {
		if err := c.stillInForce(ctx, base); err != nil {
			return err
		}
		if err := c.QueryRowContext(ctx, `SELECT COALESCE(MAX(version), 0) + 1 FROM lexicon_version`).Scan(&l.Version); err != nil {
			return err
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO lexicon_version (id, version, base, state, body, reason, author, made_at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
			l.ID, l.Version, l.Base, l.State, body.String(), l.Reason, l.Author, at(l.MadeAt)); err != nil {
			return fmt.Errorf("insert lexicon: %w", err)
		}
		return c.note(ctx, audit.Record{Action: "lexicon.draft", Object: l.ID, Reason: reason, After: fmt.Sprintf("version %d", l.Version)})
	})
	return l, err
}

// stillInForce refuses a draft that was begun on another version: it would take back what was published since.
func (c *change) stillInForce(ctx context.Context, base int) error {
	now, _, err := lexiconInForce(ctx, c)
	if err == nil && now != base {
		err = fmt.Errorf("%w: version %d of the lexicon is in force now, and the draft began with %d", ErrConflict, now, base)
	}
	return err
}

// PublishLexicon puts a draft in force from now on and asks for the cases that it classes otherwise to be estimated anew. table
// is version 0, over which it stands.
func (db *DB) PublishLexicon(ctx context.Context, actor Actor, id, reason string, table *lexicon.Lexicon) (LexiconVersion, Recomputation, error) {
	var after LexiconVersion
	var asked Recomputation
	err := db.decideLexicon(ctx, actor, id, reason, func(c *change, l LexiconVersion) error {
		if err := c.stillInForce(ctx, l.Base); err != nil {
			return err
		}
		studies, err := c.classedOtherwise(ctx, table, l.Rows)
		if err != nil {
			return err
		}
		if _, err := c.ExecContext(ctx, `UPDATE lexicon_version SET state = $1 WHERE state = $2`, LexiconReplaced, LexiconInForce); err != nil {
			return fmt.Errorf("replace lexicon: %w", err)
		}
		if asked, err = c.recomputeStudies(ctx, Recomputation{Reason: fmt.Sprintf("lexicon version %d", l.Version)}, studies); err != nil {
			return err
		}
		if err := c.one(ctx, "publish lexicon", `UPDATE lexicon_version SET state = $2, recomputation = $3 WHERE id = $1`, id, LexiconInForce, asked.ID); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "lexicon.publish", Object: id, Reason: reason, Before: fmt.Sprintf("version %d", l.Base), After: fmt.Sprintf("version %d in force", l.Version)})
	})
	if err != nil {
		return after, asked, err
	}
	if after, err = db.LexiconVersion(ctx, id); err != nil {
		return after, asked, err
	}
	asked, err = db.Recomputation(ctx, asked.ID)
	return after, asked, err
}

// classedOtherwise gives the studies with a case that other rows class otherwise, with those whose names are not known yet and
// those that are being estimated at this moment: that estimate may have begun before.
func (c *change) classedOtherwise(ctx context.Context, table *lexicon.Lexicon, rows []lexicon.Row) ([]string, error) {
	_, had, err := lexiconInForce(ctx, c)
	if err != nil {
		return nil, err
	}
	before, err := table.Over(had)
	if err != nil {
		return nil, err
	}
	after, err := table.Over(rows)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	cases, names, err := called(ctx, c)
	if err != nil {
		return nil, err
	}
	moves := lexicon.Moves(before, after, names)
	studies, err := c.beingAssessed(ctx)
	if err != nil {
		return nil, err
	}
	for _, one := range cases {
		if _, moved := moves[one.Names]; !one.Given && (moved || one.Names == "") {
			studies = append(studies, one.StudyUID)
		}
	}
	return studies, nil
}

func (c *change) beingAssessed(ctx context.Context) ([]string, error) {
	return rows(ctx, c, func(r *sql.Rows) (string, error) {
		var study string
		return study, r.Scan(&study)
	}, `SELECT subject FROM job WHERE kind = 'assess' AND state = 'leased' ORDER BY subject`)
}

// WithdrawLexicon ends a draft; it stays on record.
func (db *DB) WithdrawLexicon(ctx context.Context, actor Actor, id, reason string) (LexiconVersion, error) {
	if err := db.withdrawDraft(ctx, actor, draftOf{table: "lexicon_version", what: "the lexicon", id: id, reason: reason}, "lexicon.withdraw"); err != nil {
		return LexiconVersion{}, err
	}
	return db.LexiconVersion(ctx, id)
}

// decideLexicon does something to a draft, and keeps who did and why.
func (db *DB) decideLexicon(ctx context.Context, actor Actor, id, reason string, do func(c *change, l LexiconVersion) error) error {
	return db.decideDraft(ctx, actor, draftOf{table: "lexicon_version", what: "the lexicon", id: id, reason: reason}, func(c *change) error {
		l, err := scanLexicon(c.QueryRowContext(ctx, `SELECT `+lexiconColumns+` FROM lexicon_version WHERE id = $1`, id))
		if err != nil {
			return err
		}
		return do(c, l)
	})
}

// LexiconVersion gives a version by its id.
func (db *DB) LexiconVersion(ctx context.Context, id string) (LexiconVersion, error) {
	return scanLexicon(db.read.QueryRowContext(ctx, `SELECT `+lexiconColumns+` FROM lexicon_version WHERE id = $1`, id))
}

// LexiconVersions lists the versions, the newest first.
func (db *DB) LexiconVersions(ctx context.Context) ([]LexiconVersion, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (LexiconVersion, error) { return scanLexicon(r) },
		`SELECT `+lexiconColumns+` FROM lexicon_version ORDER BY version DESC`)
}

// LexiconInForce gives the number and the rows of the version that was published last: 0 and none when none ever was.
func (db *DB) LexiconInForce(ctx context.Context) (int, []lexicon.Row, error) {
	return lexiconInForce(ctx, db.read)
}

func lexiconInForce(ctx context.Context, q querier) (int, []lexicon.Row, error) {
	l, err := scanLexicon(q.QueryRowContext(ctx, `SELECT `+lexiconColumns+` FROM lexicon_version WHERE state = $1`, LexiconInForce))
	if errors.Is(err, ErrNotFound) {
		return 0, nil, nil
	}
	return l.Version, l.Rows, err
}
