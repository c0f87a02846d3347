package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"

	"afterbeam/internal/audit"
	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/quantity"
)

// followUp brings flags and asks of a case in line with its newest version and with what people said: in the transaction that
// changes either. Doing it again changes nothing. why says what differs from the version before.
func (c *change) followUp(ctx context.Context, caseID, why string) error {
	of, flags, err := c.stateOf(ctx, caseID)
	if err != nil {
		return err
	}
	byKey, raised, superseded, err := c.raise(ctx, of.record, flags, of.Holding(), why)
	if err != nil {
		return err
	}
	for i := range of.Flags {
		of.Flags[i].Settled = byKey[of.Flags[i].Key].State == FlagSettled
	}
	have, err := c.asksOfCase(ctx, caseID)
	if err != nil {
		return err
	}
	changes := c.db.schedule.Reconcile(have, c.db.schedule.Wanted(of.Case))
	for _, one := range changes {
		if err := c.apply(ctx, of.record, one, byKey, why); err != nil {
			return err
		}
	}
	named, err := c.nameOperators(ctx, of.record)
	if err != nil || raised+superseded+len(changes)+named == 0 {
		return err
	}
	return c.note(ctx, audit.Record{
		Action: "follow-up.change", Object: fmt.Sprintf("%s/%d", caseID, of.record.Version), Patient: of.record.PatientID, Reason: why,
		After: fmt.Sprintf("%d flags raised, %d superseded, %d asks changed, %d given to an operator", raised, superseded, len(changes), named),
	})
}

// caseState is a case as the schedule sees it, and as it is kept.
type caseState struct {
	ask.Case
	record Case
}

func (c *change) stateOf(ctx context.Context, caseID string) (caseState, []Flag, error) {
	one, err := caseOf(ctx, c, caseID)
	if err != nil {
		return caseState{}, nil, err
	}
	flags, err := flagsOf(ctx, c, caseID, one.Version)
	if err != nil {
		return caseState{}, nil, err
	}
	is, _ := level.ParseState(one.FlagState)
	of := caseState{record: one, Case: ask.Case{
		Day: one.LocalDate, Today: c.db.Today(), Quality: one.Quality, Void: one.Basis == BasisReplaced, State: is, Kerma: one.Kerma, PSD: one.PSD,
	}}
	for _, f := range flags {
		state, known := level.ParseState(f.State)
		if !known {
			continue
		}
		of.Flags = append(of.Flags, ask.Flag{
			Key: keyOf(f), Meaning: f.Meaning, Quantity: level.Quantity(f.Quantity), State: state, Value: f.Value, Level: f.Level,
		})
	}
	if err := c.QueryRowContext(ctx, `SELECT pregnant FROM procedure_case WHERE id = $1`, caseID).Scan(&of.Pregnant); err != nil {
		return of, nil, err
	}
	if of.Own, err = c.ownOf(ctx, caseID); err != nil {
		return of, nil, err
	}
	of.Grade, of.GradeDay, err = c.worst(ctx, caseID)
	return of, flags, err
}

// ownOf gives the newest estimate of a physicist.
func (c *change) ownOf(ctx context.Context, caseID string) (quantity.Opt[quantity.Gray], error) {
	var own quantity.Opt[quantity.Gray]
	err := c.QueryRowContext(ctx, `SELECT value_gy FROM own_estimate WHERE procedure_id = $1 ORDER BY sequence DESC LIMIT 1`, caseID).Scan(opt[quantity.Gray]{&own})
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	return own, err
}

// worst gives the worst reaction that the asks of a case told of, and the day on which it was first seen. Of an ask that was
// put right the last answer counts.
func (c *change) worst(ctx context.Context, caseID string) (grade quantity.Opt[float64], day string, err error) {
	err = c.QueryRowContext(ctx, `SELECT e.grade, e.day FROM ask a JOIN ask_event e ON e.ask_id = a.id
		WHERE a.procedure_id = $1 AND e.grade IS NOT NULL AND NOT EXISTS
			(SELECT 1 FROM ask_event later WHERE later.ask_id = e.ask_id AND later.sequence > e.sequence AND later.event = 'corrected')
		ORDER BY e.grade DESC, e.day LIMIT 1`, caseID).Scan(opt[float64]{&grade}, &day)
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	return grade, day, err
}

// asksOfCase gives the asks that a case has, in the order of their days and kinds.
func (c *change) asksOfCase(ctx context.Context, caseID string) ([]ask.Held, error) {
	all, err := rows(ctx, c, func(r *sql.Rows) (ask.Held, error) {
		var h ask.Held
		return h, r.Scan(&h.ID, &h.Slot, &h.Kind, &h.Owner, &h.Person, &h.From, &h.Due, &h.Text, &h.State, &h.Holds)
	}, `SELECT id, slot, kind, owner, person, from_day, due_day, text, state, holds FROM ask WHERE procedure_id = $1`, caseID)
	slices.SortFunc(all, func(a, b ask.Held) int { return ask.Compare(a.Ask, b.Ask) })
	return all, err
}

// apply does one change to the asks of a case.
func (c *change) apply(ctx context.Context, of Case, one ask.Change, byKey map[ask.Key]RaisedFlag, why string) error {
	a := one.Ask
	if one.Event == ask.Made {
		a.ID = newID()
		if _, err := c.ExecContext(ctx, `INSERT INTO ask (id, procedure_id, slot, kind, owner, person, from_day, due_day, text, state, holds, rung, source, known, made_at, version)
			VALUES ($1, $2, $3, $4, $5, '', $6, $7, $8, $9, 1, 0, $10, $11, $12, $13)`,
			a.ID, of.ID, a.Slot, a.Kind, a.Owner, a.From, a.Due, a.Text, a.State, one.Wanted.Row.Source, one.Wanted.Row.Known, at(c.db.now()), of.Version); err != nil {
			return fmt.Errorf("insert ask: %w", err)
		}
	} else if err := c.one(ctx, "change ask", `UPDATE ask SET from_day = $2, due_day = $3, text = $4, state = $5, holds = $6 WHERE id = $1`,
		a.ID, a.From, a.Due, a.Text, a.State, one.Holds); err != nil {
		return err
	}
	for _, key := range one.Wanted.Because {
		if _, err := c.ExecContext(ctx, `INSERT INTO ask_flag (ask_id, flag_id) VALUES ($1, $2) ON CONFLICT DO NOTHING`, a.ID, byKey[key].ID); err != nil {
			return fmt.Errorf("tie ask to flag: %w", err)
		}
	}
	return c.askEvent(ctx, a, of.Version, one.Event, why, ask.Answer{})
}

// nameOperators names the operator of the case in the open asks that name nobody: at once, or when one becomes known.
func (c *change) nameOperators(ctx context.Context, of Case) (named int, err error) {
	nobody, err := rows(ctx, c, func(r *sql.Rows) (ask.Ask, error) {
		var a ask.Ask
		return a, r.Scan(&a.ID, &a.From, &a.Due)
	}, `SELECT id, from_day, due_day FROM ask WHERE procedure_id = $1 AND owner = 'operator' AND person = '' AND state = 'open' ORDER BY due_day, id`, of.ID)
	if err != nil || len(nobody) == 0 {
		return named, err
	}
	accounts, fallback, err := operatorsOf(ctx, c, of)
	if err != nil || len(accounts) == 0 {
		return named, err
	}
	why := "operator of the procedure"
	if fallback {
		why = "the room's fallback: no person of the procedure has an account"
	}
	for _, a := range nobody {
		a.Person = accounts[0]
		if err := c.one(ctx, "name person of ask", `UPDATE ask SET person = $2 WHERE id = $1`, a.ID, a.Person); err != nil {
			return named, err
		}
		if err := c.askEvent(ctx, a, of.Version, ask.Handed, why, ask.Answer{}); err != nil {
			return named, err
		}
	}
	return len(nobody), nil
}

func (c *change) askEvent(ctx context.Context, a ask.Ask, version int, event ask.Event, reason string, said ask.Answer) error {
	_, err := c.ExecContext(ctx, `INSERT INTO ask_event (ask_id, sequence, event, made_at, actor, role, version, person, from_day, due_day, reason,
			outcome, day, grade, place, picture, note, final)
		VALUES ($1, (SELECT COUNT(*) + 1 FROM ask_event WHERE ask_id = $1), $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17)`,
		a.ID, event, at(c.db.now()), c.actor.Account, c.actor.Role, version, a.Person, a.From, a.Due, reason,
		said.Outcome, said.Day, null(said.Grade), said.Place, said.Picture, said.Note, said.Final)
	if err != nil {
		return fmt.Errorf("keep event of ask: %w", err)
	}
	return nil
}
