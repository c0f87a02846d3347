package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"

	"afterbeam/internal/followup/ask"
	"afterbeam/internal/quantity"
)

// AskRecord is an ask as it is kept, with what lists show of its case.
type AskRecord struct {
	ask.Ask
	CaseID        string
	Patient, Room string
	// Day is the local date of the procedure.
	Day                string
	Class, Description string
	FlagState          string
	// Holds is false when an open ask was kept although what it rested on no longer holds.
	Holds bool
	// Rung is the last step of the ladder of overdue asks that was told.
	Rung          int
	Source, Known string
	MadeAt        time.Time
	Version       int // of the case, when it was made
	// Attempts counts the answers that left it open. Answered is the last that counts, absent before the first.
	Attempts int
	Answer   *ask.Answer
	// By and At are who gave that answer, and when.
	By string
	At time.Time
}

// AskEvent is one line of the history of an ask.
type AskEvent struct {
	Sequence    int
	Event       ask.Event
	At          time.Time
	Actor, Role string
	Version     int
	Person      string
	From, Due   string
	Reason      string
	Answer      *ask.Answer // of answers and attempts
}

// AskFilter narrows a list of asks. Empty fields do not narrow. Rooms and Account are the caller's scope, as in Filter.
type AskFilter struct {
	Rooms   []string
	Account string
	States  []ask.State
	Owner   ask.Role
	Kind    ask.Kind
	// Person is the account that is asked.
	Person       string
	Room         string
	CaseID       string
	PatientID    string
	DueFrom, Due string // local dates, both included
	// Overdue asks for open ones whose day is past.
	Overdue bool
	After   string // id of the last ask seen; one that is not there is ErrCursor
	Limit   int
}

// Today gives the local date of the site.
func (db *DB) Today() string {
	if db.today != nil {
		return db.today()
	}
	return db.now().In(db.site).Format(time.DateOnly)
}

// Schedule gives the schedule in force.
func (db *DB) Schedule() ask.Schedule { return db.schedule }

func (f AskFilter) where(today string) (string, []any) {
	scope, args := Filter{Rooms: f.Rooms, Account: f.Account, Room: f.Room, PatientID: f.PatientID}.terms("procedure_case.")
	terms := []string{scope}
	equal := func(column, value string) {
		if value != "" {
			terms = append(terms, column+" = "+placeholder(&args, value))
		}
	}
	equal("ask.owner", string(f.Owner))
	equal("ask.kind", string(f.Kind))
	equal("ask.person", f.Person)
	equal("ask.procedure_id", f.CaseID)
	if len(f.States) > 0 {
		var marks []string
		for _, s := range f.States {
			marks = append(marks, placeholder(&args, s))
		}
		terms = append(terms, "ask.state IN ("+strings.Join(marks, ", ")+")")
	}
	if f.DueFrom != "" {
		terms = append(terms, "ask.due_day >= "+placeholder(&args, f.DueFrom))
	}
	if f.Due != "" {
		terms = append(terms, "ask.due_day <= "+placeholder(&args, f.Due))
	}
	if f.Overdue {
		terms = append(terms, "ask.state = 'open' AND ask.due_day < "+placeholder(&args, today))
	}
	return strings.Join(terms, " AND "), args
}

const askColumns = `ask.id, ask.procedure_id, ask.slot, ask.kind, ask.owner, ask.person, ask.from_day, ask.due_day, ask.text, ask.state, ask.holds, ask.rung,
	ask.source, ask.known, ask.made_at, ask.version, procedure_case.patient_id, procedure_case.room, procedure_case.local_date, procedure_case.class,
	procedure_case.description, procedure_case.flag_state,
	(SELECT COUNT(*) FROM ask_event WHERE ask_id = ask.id AND event = 'attempt'), e.outcome, e.day, e.grade, e.place, e.picture, e.note, e.final, e.reason, e.actor, e.made_at`

// askFrom joins each ask with its case and with the last answer.
const askFrom = ` FROM ask JOIN procedure_case ON procedure_case.id = ask.procedure_id
	LEFT JOIN ask_event e ON e.ask_id = ask.id AND e.sequence = (SELECT MAX(sequence) FROM ask_event WHERE ask_id = ask.id AND event IN ('answered', 'corrected'))`

func scanAsk(row interface{ Scan(...any) error }) (AskRecord, error) {
	var a AskRecord
	var made, answered dbTime
	var outcome, day, place, picture, note, correction, by, when sql.NullString
	var final sql.NullBool
	var grade quantity.Opt[float64]
	err := row.Scan(&a.ID, &a.CaseID, &a.Slot, &a.Kind, &a.Owner, &a.Person, &a.From, &a.Due, &a.Text, &a.State, &a.Holds, &a.Rung, &a.Source, &a.Known,
		&made, &a.Version, &a.Patient, &a.Room, &a.Day, &a.Class, &a.Description, &a.FlagState, &a.Attempts,
		&outcome, &day, opt[float64]{&grade}, &place, &picture, &note, &final, &correction, &by, &when)
	if err != nil {
		return a, kind(err)
	}
	a.MadeAt = made.Time
	if outcome.Valid {
		if err := answered.Scan(when.String); err != nil {
			return a, err
		}
		a.By, a.At = by.String, answered.Time
		a.Answer = &ask.Answer{
			Outcome: ask.Outcome(outcome.String), Day: day.String, Grade: grade, Place: place.String, Picture: picture.String, Note: note.String,
			Final: final.Bool, Correction: correction.String,
		}
	}
	return a, nil
}

// Asks lists asks, the earliest due day first.
func (db *DB) Asks(ctx context.Context, f AskFilter) ([]AskRecord, error) {
	where, args := f.where(db.Today())
	if f.After != "" {
		if err := cursor(ctx, db.read, "ask", f.After); err != nil {
			return nil, err
		}
		where += " AND (ask.due_day, ask.id) > (SELECT due_day, id FROM ask WHERE id = " + placeholder(&args, f.After) + ")"
	}
	return asks(ctx, db.read, where, args, f.Limit)
}

func asks(ctx context.Context, q querier, where string, args []any, limit int) ([]AskRecord, error) {
	query := `SELECT ` + askColumns + askFrom + ` WHERE ` + where + ` ORDER BY ask.due_day, ask.id`
	if limit > 0 {
		query += ` LIMIT ` + placeholder(&args, limit)
	}
	return rows(ctx, q, func(r *sql.Rows) (AskRecord, error) { return scanAsk(r) }, query, args...)
}

// Ask gives an ask by its id.
func (db *DB) Ask(ctx context.Context, id string) (AskRecord, error) { return askOf(ctx, db.read, id) }

func askOf(ctx context.Context, q querier, id string) (AskRecord, error) {
	return scanAsk(q.QueryRowContext(ctx, `SELECT `+askColumns+askFrom+` WHERE ask.id = $1`, id))
}

// AskHistory gives what happened to an ask, the oldest first.
func (db *DB) AskHistory(ctx context.Context, id string) ([]AskEvent, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (AskEvent, error) {
		var e AskEvent
		var made dbTime
		var a ask.Answer
		err := r.Scan(&e.Sequence, &e.Event, &made, &e.Actor, &e.Role, &e.Version, &e.Person, &e.From, &e.Due, &e.Reason,
			&a.Outcome, &a.Day, opt[float64]{&a.Grade}, &a.Place, &a.Picture, &a.Note, &a.Final)
		e.At = made.Time
		if a.Outcome != "" {
			if e.Event == ask.Corrected {
				a.Correction = e.Reason
			}
			e.Answer = &a
		}
		return e, err
	}, `SELECT sequence, event, made_at, actor, role, version, person, from_day, due_day, reason, outcome, day, grade, place, picture, note, final
		FROM ask_event WHERE ask_id = $1 ORDER BY sequence`, id)
}

// AskCount is how many asks there are of one kind, owner and state.
type AskCount struct {
	Kind    ask.Kind
	Owner   ask.Role
	State   ask.State
	Overdue bool
	// WeekOver tells that they are overdue by more than 7 days.
	WeekOver bool
	Number   int
}

// AskCounts counts the asks of a filter.
func (db *DB) AskCounts(ctx context.Context, f AskFilter) ([]AskCount, error) {
	today := db.Today()
	where, args := f.where(today)
	over := fmt.Sprintf("(ask.state = 'open' AND ask.due_day < %s)", placeholder(&args, today))
	week := fmt.Sprintf("(ask.state = 'open' AND ask.due_day < %s)", placeholder(&args, weekBefore(today)))
	return rows(ctx, db.read, func(r *sql.Rows) (AskCount, error) {
		var n AskCount
		return n, r.Scan(&n.Kind, &n.Owner, &n.State, &n.Overdue, &n.WeekOver, &n.Number)
	}, `SELECT ask.kind, ask.owner, ask.state, `+over+` AS over, `+week+` AS week, COUNT(*) FROM ask JOIN procedure_case ON procedure_case.id = ask.procedure_id
		WHERE `+where+` GROUP BY 1, 2, 3, 4, 5 ORDER BY 1, 2, 3, 4, 5`, args...)
}

func weekBefore(day string) string {
	at, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return at.AddDate(0, 0, -7).Format(time.DateOnly)
}
