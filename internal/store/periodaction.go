package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/summary"
)

// PeriodAction is what people agreed to do when they looked at a period, in a room or, where that is "", at the whole site.
type PeriodAction struct {
	summary.Action
	Room string
}

// ActionEvent is one line of the history of an action.
type ActionEvent struct {
	Sequence    int
	Event       string // agreed, noted, moved, closed, reopened
	Text        string
	Due         string // from then on
	Actor, Role string
	At          time.Time
}

// The events of actions.
const (
	ActionAgreed   = "agreed"
	ActionNoted    = "noted"
	ActionMoved    = "moved" // to another day
	ActionClosed   = "closed"
	ActionReopened = "reopened"
)

const actionColumns = `id, period, room, text, owner, opened_on, due_on, closed_on, outcome`

func scanAction(row interface{ Scan(...any) error }) (PeriodAction, error) {
	var a PeriodAction
	err := row.Scan(&a.ID, &a.Period, &a.Room, &a.Text, &a.Owner, &a.Opened, &a.Due, &a.Closed, &a.Outcome)
	return a, kind(err)
}

// AgreeAction keeps a new action of a period.
func (db *DB) AgreeAction(ctx context.Context, actor Actor, a PeriodAction) (PeriodAction, error) {
	if _, err := summary.ParsePeriod(a.Period); err != nil {
		return a, fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	for _, text := range []struct{ name, is string }{{"text", a.Text}, {"owner", a.Owner}} {
		if err := words(text.name, text.is); err != nil {
			return a, err
		}
	}
	a.ID, a.Opened, a.Closed, a.Outcome = newID(), db.Today(), "", ""
	if err := dueOn(a.Due, a.Opened); err != nil {
		return a, err
	}
	err := db.change(ctx, actor, func(c *change) error {
		if _, err := c.ExecContext(ctx, `INSERT INTO period_action (`+actionColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
			a.ID, a.Period, a.Room, a.Text, a.Owner, a.Opened, a.Due, a.Closed, a.Outcome); err != nil {
			return fmt.Errorf("insert action: %w", err)
		}
		return c.actionEvent(ctx, a, ActionAgreed, a.Text)
	})
	return a, err
}

func dueOn(day, today string) error {
	if _, err := time.Parse(time.DateOnly, day); err != nil || day < today {
		return fmt.Errorf("%w: due_on wants a day like 2026-09-14 that is not past", ErrInvalid)
	}
	return nil
}

// ChangeAction keeps what happened to an action: a note, another day, its end with the outcome, or that it is open again.
// due is the other day, and "" else. What does not fit how the action stands is ErrConflict.
func (db *DB) ChangeAction(ctx context.Context, actor Actor, id, event, text, due string) (PeriodAction, error) {
	if err := words("text", text); err != nil {
		return PeriodAction{}, err
	}
	var a PeriodAction
	err := db.change(ctx, actor, func(c *change) (err error) {
		if a, err = actionOf(ctx, c, id); err != nil {
			return err
		}
		open := a.Closed == ""
		switch event {
		case ActionNoted:
		case ActionMoved:
			if err := dueOn(due, db.Today()); err != nil {
				return err
			}
			a.Due = due
		case ActionClosed:
			a.Closed, a.Outcome = db.Today(), text
		case ActionReopened:
			a.Closed, a.Outcome = "", ""
		default:
			return fmt.Errorf("%w: an action is noted, moved, closed or reopened", ErrInvalid)
		}
		if open == (event == ActionReopened) {
			return fmt.Errorf("%w: the action is %s", ErrConflict, map[bool]string{true: "open", false: "closed"}[open])
		}
		if err := c.one(ctx, "change action", `UPDATE period_action SET due_on = $2, closed_on = $3, outcome = $4 WHERE id = $1`, id, a.Due, a.Closed, a.Outcome); err != nil {
			return err
		}
		return c.actionEvent(ctx, a, event, text)
	})
	return a, err
}

func (c *change) actionEvent(ctx context.Context, a PeriodAction, event, text string) error {
	if _, err := c.ExecContext(ctx, `INSERT INTO period_action_event (action_id, sequence, event, text, due_on, actor, role, made_at)
		VALUES ($1, (SELECT COUNT(*) + 1 FROM period_action_event WHERE action_id = $1), $2, $3, $4, $5, $6, $7)`,
		a.ID, event, text, a.Due, c.actor.Account, c.actor.Role, at(c.db.now())); err != nil {
		return fmt.Errorf("keep event of action: %w", err)
	}
	return c.note(ctx, audit.Record{Action: "action." + event, Object: a.ID, Reason: text, After: a.Due})
}

// Action gives an action by its id.
func (db *DB) Action(ctx context.Context, id string) (PeriodAction, error) {
	return actionOf(ctx, db.read, id)
}

func actionOf(ctx context.Context, q querier, id string) (PeriodAction, error) {
	return scanAction(q.QueryRowContext(ctx, `SELECT `+actionColumns+` FROM period_action WHERE id = $1`, id))
}

// Actions gives the actions that a period is about: those agreed up to its last day that were not closed before its first. Rooms
// are those that the reader sees, nil every room; what is agreed for the whole site belongs to each.
func (db *DB) Actions(ctx context.Context, from, to string, seen []string) ([]PeriodAction, error) {
	args := []any{from, to}
	where := "(closed_on = '' OR closed_on >= $1) AND opened_on <= $2"
	if seen != nil {
		marks := []string{"''"}
		for _, room := range seen {
			marks = append(marks, placeholder(&args, room))
		}
		where += " AND room IN (" + strings.Join(marks, ", ") + ")"
	}
	return rows(ctx, db.read, func(r *sql.Rows) (PeriodAction, error) { return scanAction(r) },
		`SELECT `+actionColumns+` FROM period_action WHERE `+where+` ORDER BY opened_on, id`, args...)
}

// ActionHistory gives what happened to an action, the oldest first.
func (db *DB) ActionHistory(ctx context.Context, id string) ([]ActionEvent, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (ActionEvent, error) {
		var e ActionEvent
		var made dbTime
		err := r.Scan(&e.Sequence, &e.Event, &e.Text, &e.Due, &e.Actor, &e.Role, &made)
		e.At = made.Time
		return e, err
	}, `SELECT sequence, event, text, due_on, actor, role, made_at FROM period_action_event WHERE action_id = $1 ORDER BY sequence`, id)
}
