package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/followup/ask"
	"afterbeam/internal/quantity"
)

// AnswerAsk keeps what somebody says to an ask. An answer that is not whole is ErrInvalid with the reason.
func (db *DB) AnswerAsk(ctx context.Context, actor Actor, id string, said ask.Answer) (AskRecord, error) {
	var after AskRecord
	err := db.change(ctx, actor, func(c *change) error {
		a, err := askOf(ctx, c, id)
		if err != nil {
			return err
		}
		if err := ask.MayAnswer(ask.Role(actor.Role), a.Ask); err != nil {
			return err
		}
		if a.State == ask.Superseded || a.State == ask.Settled {
			return fmt.Errorf("%w: the ask is %s", ErrConflict, a.State)
		}
		if err := said.Check(a.Ask, a.Day, db.Today()); err != nil {
			return fmt.Errorf("%w: %w", ErrInvalid, err)
		}
		event := ask.Told
		switch {
		case a.State == ask.Answered:
			event = ask.Corrected
		case !said.Closes(a.Ask):
			event = ask.Tried
		}
		if event == ask.Told {
			if err := c.one(ctx, "answer ask", `UPDATE ask SET state = $2 WHERE id = $1`, id, ask.Answered); err != nil {
				return err
			}
		}
		if err := c.askEvent(ctx, a.Ask, a.Version, event, said.Correction, said); err != nil {
			return err
		}
		if err := c.note(ctx, audit.Record{Action: "ask.answer", Object: id, Patient: a.Patient, Reason: said.Correction, After: string(said.Outcome)}); err != nil {
			return err
		}
		if err := c.followUp(ctx, a.CaseID, "an answer told of the skin"); err != nil {
			return err
		}
		after, err = askOf(ctx, c, id)
		return err
	})
	return after, err
}

// HandOverAsk asks another account in place of the one that is asked. The account must be in force, of the ask's owner role or
// a physicist's, and see the room of the case.
func (db *DB) HandOverAsk(ctx context.Context, actor Actor, id, account, reason string) (AskRecord, error) {
	if reason == "" {
		return AskRecord{}, fmt.Errorf("%w: handing over wants a reason", ErrInvalid)
	}
	var after AskRecord
	err := db.change(ctx, actor, func(c *change) error {
		a, err := askOf(ctx, c, id)
		if err != nil {
			return err
		}
		to, err := scanAccount(c.QueryRowContext(ctx, `SELECT `+accountColumns+` FROM account WHERE id = $1 AND disabled_at = ''`, account))
		switch {
		case errors.Is(err, ErrNotFound):
			return fmt.Errorf("%w: there is no such account in force", ErrInvalid)
		case err != nil:
			return err
		case a.State != ask.Open:
			return fmt.Errorf("%w: the ask is %s", ErrConflict, a.State)
		case to.Role != string(a.Owner) && to.Role != string(ask.Physicist):
			return fmt.Errorf("%w: this is asked of the role %s", ErrInvalid, a.Owner)
		case to.Rooms != nil && !slices.Contains(to.Rooms, a.Room):
			return fmt.Errorf("%w: that account does not see the room of the procedure", ErrInvalid)
		}
		before := a.Person
		a.Person = account
		if err := c.one(ctx, "hand ask over", `UPDATE ask SET person = $2 WHERE id = $1`, id, account); err != nil {
			return err
		}
		if err := c.askEvent(ctx, a.Ask, a.Version, ask.Handed, reason, ask.Answer{}); err != nil {
			return err
		}
		if err := c.note(ctx, audit.Record{Action: "ask.handover", Object: id, Patient: a.Patient, Reason: reason, Before: before, After: account}); err != nil {
			return err
		}
		after, err = askOf(ctx, c, id)
		return err
	})
	return after, err
}

// SettleFlag keeps a person's word that nothing more follows from a flag. What may not be settled so is ask.ErrRefused; one
// that is no longer open is ErrConflict.
func (db *DB) SettleFlag(ctx context.Context, actor Actor, id string, s ask.Settlement) (RaisedFlag, error) {
	var after RaisedFlag
	err := db.change(ctx, actor, func(c *change) error {
		f, err := raisedOf(ctx, c, id)
		if err != nil {
			return err
		}
		if f.State != FlagOpen {
			return fmt.Errorf("%w: the flag is %s", ErrConflict, f.State)
		}
		of, err := caseOf(ctx, c, f.CaseID)
		if err != nil {
			return err
		}
		own, err := c.ownOf(ctx, f.CaseID)
		if err != nil {
			return err
		}
		standing := ask.Standing{Meaning: f.Meaning, Quantity: f.Quantity, Own: own.Present()}
		if err := c.QueryRowContext(ctx, `SELECT COUNT(*) FROM ask_flag x JOIN ask a ON a.id = x.ask_id WHERE x.flag_id = $1 AND a.state = 'open'`, id).
			Scan(&standing.Open); err != nil {
			return err
		}
		if err := s.Check(ask.Role(actor.Role), standing); err != nil {
			return err
		}
		f.State, f.Why, f.settled = FlagSettled, s.Reason, f.Value
		if err := c.keepRaised(ctx, f, true); err != nil {
			return err
		}
		if err := c.flagEvent(ctx, f, of.Version, FlagEvent{Event: flagSettled, Value: f.Value, Level: f.Level, Ground: s.Ground, Reason: s.Reason}); err != nil {
			return err
		}
		if err := c.note(ctx, audit.Record{Action: "flag.settle", Object: id, Patient: of.PatientID, Reason: s.Reason, After: string(s.Ground)}); err != nil {
			return err
		}
		if err := c.followUp(ctx, f.CaseID, "flag settled: "+s.Reason); err != nil {
			return err
		}
		after, err = raisedOf(ctx, c, id)
		return err
	})
	return after, err
}

// OwnEstimate is an estimate of the peak skin dose that a physicist made beside the computed one.
type OwnEstimate struct {
	ID string
	ask.Own
	Version int // of the case, beside which it was made
	Author  string
	MadeAt  time.Time
}

// AddOwnEstimate keeps a physicist's own estimate; earlier ones stay.
func (db *DB) AddOwnEstimate(ctx context.Context, actor Actor, caseID string, own ask.Own) (OwnEstimate, error) {
	if err := own.Check(); err != nil {
		return OwnEstimate{}, fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	e := OwnEstimate{ID: newID(), Own: own, Author: actor.Account, MadeAt: db.now().UTC().Truncate(time.Microsecond)}
	err := db.change(ctx, actor, func(c *change) error {
		of, err := caseOf(ctx, c, caseID)
		if err != nil {
			return err
		}
		if of.Quality || of.Basis == BasisReplaced {
			return fmt.Errorf("%w: the procedure has no patient's dose", ErrConflict)
		}
		e.Version = of.Version
		if _, err := c.ExecContext(ctx, `INSERT INTO own_estimate (id, procedure_id, sequence, version, value_gy, low_gy, high_gy, place, method, reason, author, made_at)
			VALUES ($1, $2, (SELECT COUNT(*) + 1 FROM own_estimate WHERE procedure_id = $2), $3, $4, $5, $6, $7, $8, $9, $10, $11)`,
			e.ID, caseID, e.Version, float64(own.Value), float64(own.Low), float64(own.High), own.Place, own.Method, own.Reason, e.Author, at(e.MadeAt)); err != nil {
			return fmt.Errorf("insert own estimate: %w", err)
		}
		if err := c.note(ctx, audit.Record{Action: "estimate.own", Object: caseID, Patient: of.PatientID, Reason: own.Reason, After: e.ID}); err != nil {
			return err
		}
		return c.followUp(ctx, caseID, "a physicist's own estimate")
	})
	return e, err
}

// OwnEstimates gives the physicists' estimates of a case, the newest first.
func (db *DB) OwnEstimates(ctx context.Context, caseID string) ([]OwnEstimate, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (OwnEstimate, error) {
		var e OwnEstimate
		var made dbTime
		var value, low, high float64
		err := r.Scan(&e.ID, &e.Version, &value, &low, &high, &e.Place, &e.Method, &e.Reason, &e.Author, &made)
		e.Value, e.Low, e.High, e.MadeAt = quantity.Gray(value), quantity.Gray(low), quantity.Gray(high), made.Time
		return e, err
	}, `SELECT id, version, value_gy, low_gy, high_gy, place, method, reason, author, made_at FROM own_estimate WHERE procedure_id = $1 ORDER BY sequence DESC`, caseID)
}

// EscalateAsks goes over the overdue asks and keeps each step of the ladder that one has newly come to. It gives those asks
// with the step; running it again on the same day gives none.
func (db *DB) EscalateAsks(ctx context.Context) ([]AskRecord, error) {
	var told []AskRecord
	err := db.change(ctx, System("follow-up"), func(c *change) error {
		told = nil
		today := db.Today()
		where, args := AskFilter{Overdue: true}.where(today)
		overdue, err := asks(ctx, c, where, args, 0)
		if err != nil {
			return err
		}
		for _, a := range overdue {
			step := db.schedule.Rung(a.Ask, today)
			if step.Number <= a.Rung {
				continue
			}
			a.Rung = step.Number
			if err := c.one(ctx, "escalate ask", `UPDATE ask SET rung = $2 WHERE id = $1`, a.ID, a.Rung); err != nil {
				return err
			}
			reason := fmt.Sprintf("overdue by %d days: told to %s", ask.DaysBetween(a.Due, today), step.To)
			if err := c.askEvent(ctx, a.Ask, a.Version, ask.Escalated, reason, ask.Answer{}); err != nil {
				return err
			}
			if err := c.note(ctx, audit.Record{Action: "ask.escalate", Object: a.ID, Patient: a.Patient, Reason: reason}); err != nil {
				return err
			}
			told = append(told, a)
		}
		return nil
	})
	return told, err
}
