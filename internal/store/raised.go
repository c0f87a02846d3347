package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/quantity"
)

// FlagState is how a flag that was reached stands.
type FlagState string

// The states.
const (
	FlagOpen       FlagState = "open"
	FlagSettled    FlagState = "settled"
	FlagSuperseded FlagState = "superseded"
)

// RaisedFlag is a flag that was reached, through all versions of its case. It is never erased: one that no longer holds says
// why.
type RaisedFlag struct {
	ID     string
	CaseID string
	Key    ask.Key
	// Scope is as it is told, such as 2 procedures in 60 days.
	Scope, Title, Meaning string
	Quantity              level.Quantity
	State                 FlagState
	// Value and Level are those of the last version that reached it, in canonical units.
	Value, Level   quantity.Opt[float64]
	Text           string
	RaisedAt       time.Time
	RaisedVersion  int
	ReachedVersion int
	// Why it was superseded, or the reason for which it was settled.
	Why string
	// settled is the value for which a person settled it.
	settled quantity.Opt[float64]
}

// FlagEvent is one line of the history of a flag.
type FlagEvent struct {
	Sequence     int
	Event        string // raised, raised again, superseded, settled
	At           time.Time
	Actor, Role  string
	Version      int
	Value, Level quantity.Opt[float64]
	Ground       ask.Ground // of a settlement
	Reason       string
}

// The events of flags.
const (
	flagRaised     = "raised"
	flagAgain      = "raised again"
	flagSuperseded = "superseded"
	flagSettled    = "settled"
)

const raisedColumns = `id, procedure_id, scope_key, scheme, level_id, scope, title, meaning, quantity, state, value, level, text, raised_at, raised_version,
	reached_version, why, settled_value`

func scanRaised(row interface{ Scan(...any) error }) (RaisedFlag, error) {
	var f RaisedFlag
	var raised dbTime
	err := row.Scan(&f.ID, &f.CaseID, &f.Key.Scope, &f.Key.Scheme, &f.Key.Level, &f.Scope, &f.Title, &f.Meaning, &f.Quantity, &f.State,
		opt[float64]{&f.Value}, opt[float64]{&f.Level}, &f.Text, &raised, &f.RaisedVersion, &f.ReachedVersion, &f.Why, opt[float64]{&f.settled})
	f.RaisedAt = raised.Time
	return f, kind(err)
}

// RaisedFlag gives a flag that was reached by its id.
func (db *DB) RaisedFlag(ctx context.Context, id string) (RaisedFlag, error) {
	return raisedOf(ctx, db.read, id)
}

func raisedOf(ctx context.Context, q querier, id string) (RaisedFlag, error) {
	return scanRaised(q.QueryRowContext(ctx, `SELECT `+raisedColumns+` FROM raised_flag WHERE id = $1`, id))
}

// RaisedFlags gives the flags that a case ever reached, in the order in which they were raised.
func (db *DB) RaisedFlags(ctx context.Context, caseID string) ([]RaisedFlag, error) {
	return raisedFlags(ctx, db.read, caseID)
}

func raisedFlags(ctx context.Context, q querier, caseID string) ([]RaisedFlag, error) {
	return rows(ctx, q, func(r *sql.Rows) (RaisedFlag, error) { return scanRaised(r) },
		`SELECT `+raisedColumns+` FROM raised_flag WHERE procedure_id = $1 ORDER BY raised_at, scope_key, scheme, level_id`, caseID)
}

// FlagHistory gives what happened to a flag, the oldest first.
func (db *DB) FlagHistory(ctx context.Context, id string) ([]FlagEvent, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (FlagEvent, error) {
		var e FlagEvent
		var made dbTime
		err := r.Scan(&e.Sequence, &e.Event, &made, &e.Actor, &e.Role, &e.Version, opt[float64]{&e.Value}, opt[float64]{&e.Level}, &e.Ground, &e.Reason)
		e.At = made.Time
		return e, err
	}, `SELECT sequence, event, made_at, actor, role, version, value, level, ground, reason FROM raised_flag_event WHERE flag_id = $1 ORDER BY sequence`, id)
}

// AsksOfFlag gives the ids of the asks that rest on a flag.
func (db *DB) AsksOfFlag(ctx context.Context, id string) ([]string, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (string, error) {
		var one string
		return one, r.Scan(&one)
	}, `SELECT ask_id FROM ask_flag WHERE flag_id = $1 ORDER BY ask_id`, id)
}

// raise brings the raised flags of a case in line with those that hold now, and gives them all by key with the number of
// those that were raised or superseded.
func (c *change) raise(ctx context.Context, one Case, flags []Flag, holding []ask.Flag, why string) (byKey map[ask.Key]RaisedFlag, raised, superseded int, err error) {
	have, err := raisedFlags(ctx, c, one.ID)
	if err != nil {
		return nil, 0, 0, err
	}
	byKey = make(map[ask.Key]RaisedFlag, len(have))
	for _, f := range have {
		byKey[f.Key] = f
	}
	holds := map[ask.Key]bool{}
	for _, f := range holding {
		holds[f.Key] = true
		was, there := byKey[f.Key]
		now, event := hold(was, there, f, one)
		told(&now, f, flags)
		if err := c.keepRaised(ctx, now, there); err != nil {
			return nil, 0, 0, err
		}
		byKey[f.Key] = now
		if event == "" {
			continue
		}
		raised++
		if err := c.flagEvent(ctx, now, one.Version, FlagEvent{Event: event, Value: now.Value, Level: now.Level, Reason: why}); err != nil {
			return nil, 0, 0, err
		}
	}
	for _, f := range have {
		if holds[f.Key] || f.State == FlagSuperseded {
			continue
		}
		superseded++
		f.State, f.Why = FlagSuperseded, whySuperseded(f, flags, why)
		byKey[f.Key] = f
		if err := c.keepRaised(ctx, f, true); err != nil {
			return nil, 0, 0, err
		}
		now := FlagEvent{Event: flagSuperseded, Level: f.Level, Reason: f.Why}
		if is, ok := flagOf(f.Key, flags); ok {
			now.Value, now.Level = is.Value, is.Level
		}
		if err := c.flagEvent(ctx, f, one.Version, now); err != nil {
			return nil, 0, 0, err
		}
	}
	return byKey, raised, superseded, nil
}

// hold gives a raised flag as it stands when it holds, and the event that this is, "" for none. A settled flag is raised again
// when its value is higher than the one that was settled.
func hold(was RaisedFlag, there bool, f ask.Flag, one Case) (RaisedFlag, string) {
	now, event := was, ""
	value, known := f.Value.Get()
	settled, had := was.settled.Get()
	switch {
	case !there:
		event = flagRaised
		now = RaisedFlag{ID: newID(), CaseID: one.ID, Key: f.Key, Meaning: f.Meaning, Quantity: f.Quantity, State: FlagOpen, RaisedVersion: one.Version}
	case was.State == FlagSuperseded, was.State == FlagSettled && known && had && value > settled:
		event = flagAgain
		now.State, now.Why, now.settled = FlagOpen, "", quantity.None[float64]()
	}
	now.Value, now.Level, now.ReachedVersion = f.Value, f.Level, one.Version
	return now, event
}

// told puts what the newest version says of the flag beside it.
func told(to *RaisedFlag, f ask.Flag, flags []Flag) {
	is, ok := flagOf(f.Key, flags)
	if !ok {
		return
	}
	to.Scope, to.Title, to.Text = is.Scope, is.Title, is.Text
	if is.State != level.Reached.String() {
		to.Text = is.Text + "; reached by a physicist's own estimate"
	}
}

func flagOf(key ask.Key, flags []Flag) (Flag, bool) {
	for _, f := range flags {
		if keyOf(f) == key {
			return f, true
		}
	}
	return Flag{}, false
}

func keyOf(f Flag) ask.Key {
	return ask.Key{Scope: ask.ScopeOf(f.Scope), Scheme: f.Scheme, Level: f.LevelID}
}

// whySuperseded says why a flag no longer holds.
func whySuperseded(f RaisedFlag, flags []Flag, why string) string {
	text := "no longer compared: the level or the window is gone"
	if is, ok := flagOf(f.Key, flags); ok {
		text = "now " + is.State + ": " + is.Text
	}
	if why != "" {
		text += " (" + why + ")"
	}
	return text
}

func (c *change) keepRaised(ctx context.Context, f RaisedFlag, there bool) error {
	if !there {
		f.RaisedAt = c.db.now()
	}
	_, err := c.ExecContext(ctx, `INSERT INTO raised_flag (`+raisedColumns+`)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18)
		ON CONFLICT (id) DO UPDATE SET scope = $6, title = $7, state = $10, value = $11, level = $12, text = $13, reached_version = $16, why = $17, settled_value = $18`,
		f.ID, f.CaseID, f.Key.Scope, f.Key.Scheme, f.Key.Level, f.Scope, f.Title, f.Meaning, f.Quantity, f.State, null(f.Value), null(f.Level), f.Text,
		at(f.RaisedAt), f.RaisedVersion, f.ReachedVersion, f.Why, null(f.settled))
	if err != nil {
		return fmt.Errorf("keep raised flag: %w", err)
	}
	return nil
}

func (c *change) flagEvent(ctx context.Context, f RaisedFlag, version int, e FlagEvent) error {
	_, err := c.ExecContext(ctx, `INSERT INTO raised_flag_event (flag_id, sequence, event, made_at, actor, role, version, value, level, ground, reason)
		VALUES ($1, (SELECT COUNT(*) + 1 FROM raised_flag_event WHERE flag_id = $1), $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
		f.ID, e.Event, at(c.db.now()), c.actor.Account, c.actor.Role, version, null(e.Value), null(e.Level), e.Ground, e.Reason)
	if err != nil {
		return fmt.Errorf("keep event of flag: %w", err)
	}
	return nil
}
