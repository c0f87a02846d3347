package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"

	"afterbeam/internal/quantity"
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
	DeviceKey string
	StudyUID  string
	CaseID    string
	// KermaFrom and PeakFrom are the least reported air kerma and the least estimated peak; cases without one are left out.
	KermaFrom quantity.Opt[quantity.Gray]
	PeakFrom  quantity.Opt[quantity.Gray]
	// Order is what the list is sorted by, the highest first; those without a value come last.
	Order Order
	After string // id of the last case seen; one that is not there is ErrCursor
	Limit int
}

// Order is what a list of cases is sorted by.
type Order string

// The orders.
const (
	ByStart     Order = ""
	ByKerma     Order = "kerma"
	ByKAP       Order = "kap"
	ByPeak      Order = "peak"
	ByEffective Order = "effective"
)

// keys are what an order compares. A case without a value counts as less than any.
func (o Order) keys() []string {
	column := map[Order]string{ByKerma: "kerma_gy", ByKAP: "kap_gym2", ByPeak: "psd_gy", ByEffective: "effective_sv"}[o]
	if column == "" {
		return []string{"start_at", "id"}
	}
	return []string{"COALESCE(" + column + ", -1)", "start_at", "id"}
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
	query := `SELECT ` + caseColumns + ` FROM procedure_case WHERE ` + where + ` ORDER BY ` + strings.Join(f.Order.keys(), " DESC, ") + ` DESC`
	if f.Limit > 0 {
		query += ` LIMIT ` + placeholder(&args, f.Limit)
	}
	return rows(ctx, q, func(r *sql.Rows) (Case, error) { return scanCase(r) }, query, args...)
}

// CountCases counts the procedures that a filter holds for, on whatever page.
func (db *DB) CountCases(ctx context.Context, f Filter) (n int, err error) {
	f.After = ""
	where, args := f.where()
	err = db.read.QueryRowContext(ctx, `SELECT COUNT(*) FROM procedure_case WHERE `+where, args...).Scan(&n)
	return n, kind(ended(ctx, err))
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
	equal("device_key", f.DeviceKey)
	equal("study_uid", f.StudyUID)
	equal("id", f.CaseID)
	if f.From != "" {
		terms = append(terms, prefix+"local_date >= "+placeholder(&args, f.From))
	}
	if f.To != "" {
		terms = append(terms, prefix+"local_date <= "+placeholder(&args, f.To))
	}
	least := func(column string, value quantity.Opt[quantity.Gray]) {
		if v, ok := value.Get(); ok {
			terms = append(terms, prefix+column+" >= "+placeholder(&args, float64(v)))
		}
	}
	least("kerma_gy", f.KermaFrom)
	least("psd_gy", f.PeakFrom)
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
		keys := strings.Join(f.Order.keys(), ", ")
		terms = append(terms, "("+keys+") < (SELECT "+keys+" FROM procedure_case WHERE id = "+placeholder(&args, f.After)+")")
	}
	return strings.Join(terms, " AND "), args
}

// placeholder adds an argument and gives its mark.
func placeholder(args *[]any, value any) string {
	*args = append(*args, value)
	return fmt.Sprintf("$%d", len(*args))
}
