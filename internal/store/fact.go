package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/procedure/performed"
)

// Fact is one thing that a person added to a procedure. The newest of a name holds; older ones stay.
type Fact struct {
	Sequence int64
	Name     string
	Value    string
	Source   string
	Author   string
	Reason   string
	MadeAt   time.Time
}

// SourcePerformed is the source of facts that came with a performed step, whose step and version their reason names. What
// a person said always holds against them, whichever came first.
const SourcePerformed = "performed-procedure import"

// AddFacts adds facts to a case and asks for a new assessment of its study. tag is the tag of the case as the caller saw
// it (see Tag); another one is ErrConflict.
func (db *DB) AddFacts(ctx context.Context, actor Actor, id, tag string, facts []Fact) error {
	if len(facts) == 0 {
		return fmt.Errorf("%w: no facts", ErrInvalid)
	}
	if slices.ContainsFunc(facts, func(f Fact) bool { return f.Source == SourcePerformed }) {
		return fmt.Errorf("%w: facts of source %q come with performed steps alone", ErrInvalid, SourcePerformed)
	}
	return db.change(ctx, actor, func(c *change) error {
		now, err := caseTag(ctx, c, id)
		if err != nil {
			return err
		}
		if now != tag {
			return fmt.Errorf("%w: the case has tag %s now", ErrConflict, now)
		}
		var study, patient string
		if err := c.QueryRowContext(ctx, `SELECT study_uid, patient_id FROM procedure_case WHERE id = $1`, id).Scan(&study, &patient); err != nil {
			return err
		}
		for _, f := range facts {
			if _, err := c.ExecContext(ctx, `INSERT INTO fact (procedure_id, name, value, source, author, reason, made_at) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
				id, f.Name, f.Value, f.Source, actor.Account, f.Reason, at(db.now())); err != nil {
				return fmt.Errorf("insert fact: %w", err)
			}
			if err := c.note(ctx, audit.Record{Action: "facts.add", Object: id, Patient: patient, Reason: f.Reason, After: f.Name}); err != nil {
				return err
			}
		}
		return c.want(ctx, JobAssess, study, Live)
	})
}

// factsFromSteps adds what the performed steps of a study say to its cases, where it is new and the step does not name
// another patient. What a later step leaves out is not taken back.
func (c *change) factsFromSteps(ctx context.Context, study string) (added bool, err error) {
	steps, err := performedList(ctx, c, `SELECT `+performedColumns+` FROM `+performedTables+` WHERE s.study_uid = $1 AND s.excluded <> 'cancelled' ORDER BY s.source, s.key`, study)
	if err != nil || len(steps) == 0 {
		return false, err
	}
	cases, err := rows(ctx, c, func(r *sql.Rows) (Case, error) { return scanCase(r) }, `SELECT `+caseColumns+` FROM procedure_case WHERE study_uid = $1 ORDER BY id`, study)
	if err != nil {
		return false, err
	}
	for _, one := range cases {
		patient, err := scanPatient(c.QueryRowContext(ctx, `SELECT `+patientColumns+` FROM patient p JOIN patient_identity i ON i.patient_id = p.id WHERE p.id = $1`, one.PatientID))
		if err != nil && !errors.Is(err, ErrNotFound) {
			return false, err
		}
		facts := map[string]Fact{}
		for _, s := range steps {
			if !s.Step.Patient.Agrees(identityOf(patient.Identity)) {
				continue
			}
			for _, f := range factsOf(s) {
				facts[f.Name] = f
			}
		}
		for _, name := range []string{"height_cm", "weight_kg", "class"} {
			f, said := facts[name]
			if !said {
				continue
			}
			fresh, err := c.addStepFact(ctx, one, f)
			if err != nil {
				return false, err
			}
			added = added || fresh
		}
	}
	return added, nil
}

// addStepFact adds one fact of a performed step, unless the newest of its name from there says the same.
func (c *change) addStepFact(ctx context.Context, of Case, f Fact) (bool, error) {
	var known string
	err := c.QueryRowContext(ctx, `SELECT value FROM fact WHERE procedure_id = $1 AND name = $2 AND source = $3 ORDER BY id DESC LIMIT 1`, of.ID, f.Name, SourcePerformed).Scan(&known)
	if err == nil && known == f.Value {
		return false, nil
	}
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return false, err
	}
	if _, err := c.ExecContext(ctx, `INSERT INTO fact (procedure_id, name, value, source, author, reason, made_at) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		of.ID, f.Name, f.Value, SourcePerformed, f.Author, f.Reason, at(c.db.now())); err != nil {
		return false, fmt.Errorf("insert fact: %w", err)
	}
	return true, c.note(ctx, audit.Record{Action: "facts.add", Object: of.ID, Patient: of.PatientID, Reason: f.Reason, After: f.Name})
}

// factsOf gives the facts that a step carries, in the names and units of the HTTP contract.
func factsOf(p Performed) []Fact {
	var facts []Fact
	add := func(name, value string) {
		facts = append(facts, Fact{Name: name, Value: value, Author: p.MadeBy, Reason: fmt.Sprintf("performed step %s, version %d", p.ID, p.Version)})
	}
	if h, ok := p.Step.Height.Get(); ok {
		add("height_cm", strconv.FormatFloat(h.Cm(), 'g', -1, 64))
	}
	if w, ok := p.Step.Weight.Get(); ok {
		add("weight_kg", strconv.FormatFloat(float64(w), 'g', -1, 64))
	}
	if p.Step.Class != "" {
		add("class", p.Step.Class)
	}
	return facts
}

func identityOf(i Identity) performed.Patient {
	return performed.Patient{Number: i.Number, Issuer: i.Issuer, Name: i.Name, BirthDate: i.BirthDate, Sex: i.Sex}
}

// Facts lists the facts of a case, oldest first.
func (db *DB) Facts(ctx context.Context, id string) ([]Fact, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Fact, error) {
		var f Fact
		var t dbTime
		err := r.Scan(&f.Sequence, &f.Name, &f.Value, &f.Source, &f.Author, &f.Reason, &t)
		f.MadeAt = t.Time
		return f, err
	}, `SELECT id, name, value, source, author, reason, made_at FROM fact WHERE procedure_id = $1 ORDER BY id`, id)
}

// CaseOf gives the id of the case of a study, device and patient, or ErrNotFound before its first assessment.
func (db *DB) CaseOf(ctx context.Context, study, device, patient string) (string, error) {
	var id string
	err := db.read.QueryRowContext(ctx, `SELECT id FROM procedure_case WHERE study_uid = $1 AND device_key = $2 AND patient_id = $3`, study, device, patient).Scan(&id)
	return id, kind(err)
}

// Tag names the state of a case for conditional changes: its version and its newest fact.
func (db *DB) Tag(ctx context.Context, id string) (string, error) { return caseTag(ctx, db.read, id) }

func caseTag(ctx context.Context, q querier, id string) (string, error) {
	var version, fact int64
	err := q.QueryRowContext(ctx, `SELECT version, COALESCE((SELECT MAX(id) FROM fact WHERE procedure_id = $1), 0) FROM procedure_case WHERE id = $1`, id).
		Scan(&version, &fact)
	return fmt.Sprintf("%d-%d", version, fact), kind(err)
}
