package store

import (
	"context"
	"database/sql"

	"afterbeam/internal/followup/ask"
	"afterbeam/internal/quantity"
	"afterbeam/internal/summary"
)

// beside reads rows that each belong to a case, and gives them with it. They are few beside the cases, so that they are read from
// where they are kept, and the cases looked up for them: the CROSS JOIN of each question has the database keep to that order.
func beside[T any](ctx context.Context, q querier, cases map[string]*summary.Case, scan func(r *sql.Rows, id *string) (T, error), add func(*summary.Case, T), query string, args ...any) error {
	_, err := rows(ctx, q, func(r *sql.Rows) (struct{}, error) {
		var id string
		one, err := scan(r, &id)
		if c := cases[id]; err == nil && c != nil {
			add(c, one)
		}
		return struct{}{}, err
	}, query, args...)
	return err
}

// addFlags puts the flags beside their cases that the newest versions reached or came near, and those that are raised without
// it: by a physicist's own estimate.
func addFlags(ctx context.Context, q querier, where string, args []any, cases map[string]*summary.Case) error {
	type key struct {
		caseID string
		ask.Key
	}
	raised := map[key]FlagState{}
	var order []key
	own := map[key]summary.Flag{}
	_, err := rows(ctx, q, func(r *sql.Rows) (struct{}, error) {
		var k key
		var state FlagState
		f := summary.Flag{State: summary.StateReached}
		err := r.Scan(&k.caseID, &k.Scope, &k.Scheme, &k.Level, &f.Meaning, &f.Quantity, &state, opt[float64]{&f.Value}, opt[float64]{&f.LevelValue})
		f.Scope, f.Scheme, f.Level, f.Settled = k.Scope, k.Scheme, k.Level, state == FlagSettled
		raised[k], own[k], order = state, f, append(order, k)
		return struct{}{}, err
	}, `SELECT x.procedure_id, x.scope_key, x.scheme, x.level_id, x.meaning, x.quantity, x.state, x.value, x.level
		FROM raised_flag x CROSS JOIN summary_case s WHERE s.procedure_id = x.procedure_id AND x.state <> 'superseded' AND `+where+` ORDER BY 1, 2, 3, 4`, args...)
	if err != nil {
		return err
	}
	err = beside(ctx, q, cases, func(r *sql.Rows, id *string) (summary.Flag, error) {
		var f summary.Flag
		err := r.Scan(id, &f.Scope, &f.Scheme, &f.Level, &f.Meaning, &f.Quantity, &f.State, opt[float64]{&f.Value}, opt[float64]{&f.LevelValue})
		f.Scope = ask.ScopeOf(f.Scope)
		k := key{*id, ask.Key{Scope: f.Scope, Scheme: f.Scheme, Level: f.Level}}
		f.Settled = raised[k] == FlagSettled
		if f.State == summary.StateReached {
			delete(own, k)
		}
		return f, err
	}, func(c *summary.Case, f summary.Flag) { c.Flags = append(c.Flags, f) },
		`SELECT f.procedure_id, f.scope, f.scheme, f.level_id, f.meaning, f.quantity, f.state, f.value, f.level
		FROM flag f CROSS JOIN summary_case s WHERE s.procedure_id = f.procedure_id AND s.version = f.version AND f.state IN ('reached', 'near')
		AND `+where+` ORDER BY f.procedure_id, f.place`, args...)
	if err != nil {
		return err
	}
	for _, k := range order {
		if f, still := own[k]; still && cases[k.caseID] != nil {
			cases[k.caseID].Flags = append(cases[k.caseID].Flags, f)
		}
	}
	return nil
}

// addAsks puts what was asked about the cases beside them.
func addAsks(ctx context.Context, q querier, where string, args []any, cases map[string]*summary.Case) error {
	return beside(ctx, q, cases, func(r *sql.Rows, id *string) (summary.Ask, error) {
		var a summary.Ask
		var outcome, day sql.NullString
		err := r.Scan(id, &a.Kind, &a.Owner, &a.State, &a.From, &a.Due, &outcome, &day)
		if a.State == string(ask.Answered) {
			a.Outcome, a.AnsweredOn = outcome.String, day.String
		}
		return a, err
	}, func(c *summary.Case, a summary.Ask) { c.Asks = append(c.Asks, a) },
		`SELECT s.procedure_id, a.kind, a.owner, a.state, a.from_day, a.due_day, e.outcome, e.day
		FROM ask a CROSS JOIN summary_case s
		LEFT JOIN ask_event e ON e.ask_id = a.id AND e.sequence = (SELECT MAX(sequence) FROM ask_event WHERE ask_id = a.id AND event IN ('answered', 'corrected'))
		WHERE s.procedure_id = a.procedure_id AND `+where+` ORDER BY s.procedure_id, a.due_day, a.kind, a.id`, args...)
}

// addReactions puts what was seen on the skin beside the cases. Of what was put right the last word counts.
func addReactions(ctx context.Context, q querier, where string, args []any, cases map[string]*summary.Case) error {
	return beside(ctx, q, cases, func(r *sql.Rows, id *string) (summary.Reaction, error) {
		var one summary.Reaction
		var grade quantity.Opt[float64]
		err := r.Scan(id, &one.Day, opt[float64]{&grade}, &one.Place)
		one.Grade = int(grade.Or(0))
		return one, err
	}, func(c *summary.Case, one summary.Reaction) { c.Reactions = append(c.Reactions, one) },
		`SELECT s.procedure_id, e.day, e.grade, e.place FROM ask_event e JOIN ask a ON a.id = e.ask_id CROSS JOIN summary_case s
		WHERE s.procedure_id = a.procedure_id AND e.grade IS NOT NULL AND NOT EXISTS
			(SELECT 1 FROM ask_event later WHERE later.ask_id = e.ask_id AND later.sequence > e.sequence AND later.event = 'corrected') AND `+where+`
		ORDER BY s.procedure_id, e.day, e.ask_id, e.sequence`, args...)
}

// addReviews puts what colleagues found beside the cases.
func addReviews(ctx context.Context, q querier, where string, args []any, cases map[string]*summary.Case) error {
	return beside(ctx, q, cases, func(r *sql.Rows, id *string) (summary.Review, error) {
		var one summary.Review
		return one, r.Scan(id, &one.State, &one.Day)
	}, func(c *summary.Case, one summary.Review) { c.Review = one },
		`SELECT s.procedure_id, v.state, v.day FROM peer_review v CROSS JOIN summary_case s WHERE s.procedure_id = v.procedure_id
		AND v.sequence = (SELECT MAX(sequence) FROM peer_review WHERE procedure_id = v.procedure_id) AND `+where, args...)
}
