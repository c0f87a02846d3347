package store

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"

	"afterbeam/internal/quantity"
)

// Flag is one level's result for a case version.
type Flag struct {
	Scope    string // case, or the window such as "60 days"
	Scheme   string
	LevelID  string
	Quantity string
	State    string
	Value    quantity.Opt[float64]
	Level    quantity.Opt[float64]
	Basis    string
	Text     string
	Source   string
	// Title names the scheme for people, Meaning says what reaching the level prompts, Method how an estimated value came about.
	Title, Meaning, Method string
	// Passed counts the steps of a stepped level that the value reached.
	Passed int
}

// CaseFlag is a flag of a case's newest version.
type CaseFlag struct {
	Case Case
	Flag Flag
}

// Flags lists the flags of the newest versions in one state, newest case first; the filter's After is a case id, and a
// case is never split between two pages.
func (db *DB) Flags(ctx context.Context, f Filter, state string) ([]CaseFlag, error) {
	where, args := f.where()
	where += ` AND EXISTS (SELECT 1 FROM flag WHERE flag.procedure_id = procedure_case.id AND flag.version = procedure_case.version AND flag.state = ` +
		placeholder(&args, state) + `)`
	var all []CaseFlag
	err := db.snapshot(ctx, func(q querier) error {
		cases, err := f.list(ctx, q, where, args)
		if err != nil {
			return err
		}
		for _, one := range cases {
			flags, err := flagsOf(ctx, q, one.ID, one.Version)
			if err != nil {
				return err
			}
			for _, flag := range flags {
				if flag.State == state {
					all = append(all, CaseFlag{Case: one, Flag: flag})
				}
			}
		}
		return nil
	})
	return all, err
}

// withMore scans the columns of a case and those behind them.
type withMore struct {
	*sql.Rows
	more []any
}

// Scan reads all of them.
func (w withMore) Scan(to ...any) error { return w.Rows.Scan(append(to, w.more...)...) }

func scanWithDigest(r *sql.Rows) (Case, error) {
	var digest string
	c, err := scanCase(withMore{r, []any{&digest}})
	c.Digest = digest
	return c, err
}

// CasesOfPatient gives every case of a patient and of the records linked to it, oldest first.
func (db *DB) CasesOfPatient(ctx context.Context, patient string) ([]Case, error) {
	all, err := rows(ctx, db.read, scanWithDigest,
		`SELECT `+caseColumns+`, (SELECT v.digest FROM procedure_version v WHERE v.procedure_id = procedure_case.id AND v.version = procedure_case.version) FROM procedure_case WHERE basis <> 'replaced' AND patient_id IN (SELECT id FROM patient WHERE survivor = (SELECT survivor FROM patient WHERE id = $1))`, patient)
	// A handful, sorted here: the database would copy every column of them once more.
	slices.SortFunc(all, func(a, b Case) int { return cmp.Or(a.Start.Compare(b.Start), strings.Compare(a.ID, b.ID)) })
	return all, err
}

// StateOf tells the newest totals of the whole store: for checks that two ways to the same reports end in one state.
type StateOf struct {
	Study, Device string
	Kerma         quantity.Opt[quantity.Gray]
	KAP           quantity.Opt[quantity.GraySquareMetre]
	PSD           quantity.Opt[quantity.Gray]
	Digest        string
}

// States walks every case's newest digest in an order that does not depend on arrival.
func (db *DB) States(ctx context.Context) ([]StateOf, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (StateOf, error) {
		var s StateOf
		err := r.Scan(&s.Study, &s.Device, opt[quantity.Gray]{&s.Kerma}, opt[quantity.GraySquareMetre]{&s.KAP}, opt[quantity.Gray]{&s.PSD}, &s.Digest)
		return s, err
	}, `SELECT p.study_uid, p.device_key, p.kerma_gy, p.kap_gym2, p.psd_gy, v.digest FROM procedure_case p
		JOIN procedure_version v ON v.procedure_id = p.id AND v.version = p.version ORDER BY p.study_uid, p.device_key, v.digest`)
}

func (c *change) writeFlags(ctx context.Context, v Version) error {
	for i, f := range v.Flags {
		if _, err := c.ExecContext(ctx, `INSERT INTO flag (procedure_id, version, place, scope, scheme, level_id, quantity, state, value, level, basis, text, source, title, meaning, method, passed)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17)`,
			v.Case.ID, v.Number, i, f.Scope, f.Scheme, f.LevelID, f.Quantity, f.State, null(f.Value), null(f.Level), f.Basis, f.Text, f.Source, f.Title, f.Meaning, f.Method, f.Passed); err != nil {
			return fmt.Errorf("insert flag: %w", err)
		}
	}
	return nil
}

func flagsOf(ctx context.Context, q querier, id string, version int) ([]Flag, error) {
	return rows(ctx, q, func(r *sql.Rows) (Flag, error) {
		var f Flag
		err := r.Scan(&f.Scope, &f.Scheme, &f.LevelID, &f.Quantity, &f.State, opt[float64]{&f.Value}, opt[float64]{&f.Level}, &f.Basis, &f.Text, &f.Source,
			&f.Title, &f.Meaning, &f.Method, &f.Passed)
		return f, err
	}, `SELECT scope, scheme, level_id, quantity, state, value, level, basis, text, source, title, meaning, method, passed FROM flag WHERE procedure_id = $1 AND version = $2 ORDER BY place`,
		id, version)
}
