package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
)

// Filter narrows a list of cases. Empty fields do not narrow, and without a Limit the list is whole. Rooms and Account are
// the caller's scope: nil is every room, and an Account sees the cases in which its persons took part.
type Filter struct {
	Rooms     []string
	Account   string
	Room      string
	Class     string
	FlagState string
	State     string
	From, To  string // local dates, both included
	PatientID string
	After     string // id of the last case seen; one that is not there is ErrCursor
	Limit     int
}

// Cases lists procedures, newest first.
func (db *DB) Cases(ctx context.Context, f Filter) ([]Case, error) {
	where, args := f.where()
	return f.list(ctx, db.read, where, args)
}

// list reads the cases that a condition holds for.
func (f Filter) list(ctx context.Context, q querier, where string, args []any) ([]Case, error) {
	if f.After != "" {
		if err := cursor(ctx, q, "procedure_case", f.After); err != nil {
			return nil, err
		}
	}
	query := `SELECT ` + caseColumns + ` FROM procedure_case WHERE ` + where + ` ORDER BY start_at DESC, id DESC`
	if f.Limit > 0 {
		query += ` LIMIT ` + placeholder(&args, f.Limit)
	}
	return rows(ctx, q, func(r *sql.Rows) (Case, error) { return scanCase(r) }, query, args...)
}

func (f Filter) where() (string, []any) {
	where, args := f.terms("")
	return "basis <> 'replaced' AND " + where, args
}

// terms gives the condition with a prefix of its columns, for queries that join the cases with something.
func (f Filter) terms(prefix string) (string, []any) {
	var args []any
	terms := []string{"1 = 1"}
	equal := func(column, value string) {
		if value != "" {
			terms = append(terms, prefix+column+" = "+placeholder(&args, value))
		}
	}
	equal("room", f.Room)
	equal("class", f.Class)
	equal("flag_state", f.FlagState)
	equal("state", f.State)
	if f.From != "" {
		terms = append(terms, prefix+"local_date >= "+placeholder(&args, f.From))
	}
	if f.To != "" {
		terms = append(terms, prefix+"local_date <= "+placeholder(&args, f.To))
	}
	if f.PatientID != "" {
		terms = append(terms, prefix+"patient_id IN (SELECT id FROM patient WHERE survivor = (SELECT survivor FROM patient WHERE id = "+placeholder(&args, f.PatientID)+"))")
	}
	if f.Rooms != nil {
		marks := []string{"NULL"}
		for _, room := range f.Rooms {
			marks = append(marks, placeholder(&args, room))
		}
		terms = append(terms, prefix+"room IN ("+strings.Join(marks, ", ")+")")
	}
	if f.Account != "" {
		mark := placeholder(&args, f.Account)
		own := "IN (SELECT person_id FROM person_account WHERE account_id = " + mark + " AND ended_at = '')"
		terms = append(terms, prefix+"id IN ("+casesOfPerson(own)+" UNION SELECT procedure_id FROM ask WHERE person = "+mark+")")
	}
	if f.After != "" {
		terms = append(terms, "(start_at, id) < (SELECT start_at, id FROM procedure_case WHERE id = "+placeholder(&args, f.After)+")")
	}
	return strings.Join(terms, " AND "), args
}

// placeholder adds an argument and gives its mark.
func placeholder(args *[]any, value any) string {
	*args = append(*args, value)
	return fmt.Sprintf("$%d", len(*args))
}
