package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/followup/completeness"
	"afterbeam/internal/procedure/performed"
)

// around is how many days before and after a period are compared with it: far more than a report may lie from its
// procedure.
const around = 3

// Completeness compares the performed procedures of a period with the reports that came, and tells the room of each case
// that the list may name. Steps and cases of other days come in where they share a study or an order with those of the
// period.
func (db *DB) Completeness(ctx context.Context, from, to string, r completeness.Rules) (l completeness.List, roomOf func(string) string, err error) {
	first, errFrom := time.Parse(time.DateOnly, from)
	last, errTo := time.Parse(time.DateOnly, to)
	if errFrom != nil || errTo != nil || last.Before(first) {
		return l, nil, fmt.Errorf("%w: a period of local days, first and last", ErrInvalid)
	}
	span := []any{first.AddDate(0, 0, -around).Format(time.DateOnly), last.AddDate(0, 0, around).Format(time.DateOnly)}
	var steps []completeness.Step
	var cases []completeness.Case
	err = db.snapshot(ctx, func(q querier) error {
		if steps, err = stepsAround(ctx, q, span); err != nil {
			return err
		}
		cases, err = casesAround(ctx, q, span)
		return err
	})
	if err != nil {
		return l, nil, err
	}
	rooms := make(map[string]string, len(cases))
	for _, c := range cases {
		rooms[c.ID] = c.Room
	}
	return completeness.Compare(steps, cases, r), func(id string) string { return rooms[id] }, nil
}

func stepsAround(ctx context.Context, q querier, span []any) ([]completeness.Step, error) {
	const days = `local_date >= $1 AND local_date <= $2`
	found, err := performedList(ctx, q, `SELECT `+performedColumns+` FROM `+performedTables+` WHERE s.id IN (
		SELECT id FROM performed_step WHERE `+days+`
		UNION SELECT id FROM performed_step WHERE study_uid <> '' AND study_uid IN (SELECT study_uid FROM procedure_case WHERE `+days+`)
		UNION SELECT id FROM performed_step WHERE accession <> '' AND accession IN (SELECT accession FROM procedure_case WHERE `+days+`))`, span...)
	if err != nil {
		return nil, err
	}
	steps := make([]completeness.Step, 0, len(found))
	for _, p := range found {
		steps = append(steps, completeness.Step{ID: p.ID, Step: p.Step})
	}
	return steps, nil
}

func casesAround(ctx context.Context, q querier, span []any) ([]completeness.Case, error) {
	const days = `local_date >= $1 AND local_date <= $2`
	type identified struct {
		completeness.Case
		survivor string
	}
	found, err := rows(ctx, q, func(r *sql.Rows) (identified, error) {
		var one identified
		var start dbTime
		err := r.Scan(&one.ID, &one.StudyUID, &one.Accession, &start, &one.Day, &one.Room, &one.Device, &one.QualityControl, &one.survivor)
		one.Start = start.Time
		return one, err
	}, `SELECT k.id, k.study_uid, k.accession, k.start_at, k.local_date, k.room, k.device_key, k.quality, p.survivor FROM procedure_case k JOIN patient p ON p.id = k.patient_id
		WHERE k.basis = '' AND k.id IN (
		SELECT id FROM procedure_case WHERE `+days+`
		UNION SELECT id FROM procedure_case WHERE local_date = ''
		UNION SELECT id FROM procedure_case WHERE study_uid <> '' AND study_uid IN (SELECT study_uid FROM performed_step WHERE `+days+`)
		UNION SELECT id FROM procedure_case WHERE accession <> '' AND accession IN (SELECT accession FROM performed_step WHERE `+days+`))`, span...)
	if err != nil {
		return nil, err
	}
	identities := map[string][]performed.Patient{}
	cases := make([]completeness.Case, 0, len(found))
	for _, one := range found {
		if _, known := identities[one.survivor]; !known {
			identities[one.survivor], err = rows(ctx, q, func(r *sql.Rows) (performed.Patient, error) {
				var p performed.Patient
				return p, r.Scan(&p.Number, &p.Issuer, &p.Name, &p.BirthDate, &p.Sex)
			}, `SELECT i.number, CASE WHEN i.number = '' THEN '' ELSE i.issuer END, i.name, i.birth_date, i.sex
				FROM patient p JOIN patient_identity i ON i.patient_id = p.id WHERE p.survivor = $1 ORDER BY p.id`, one.survivor)
			if err != nil {
				return nil, err
			}
		}
		one.Patients = identities[one.survivor]
		if len(one.Patients) == 0 {
			one.Patients = []performed.Patient{{}} // erased: speaks against nothing
		}
		cases = append(cases, one.Case)
	}
	return cases, nil
}

// StepRow is one step at its line of an imported table.
type StepRow struct {
	Line int
	Step performed.Step
}

// BeginImport notes that a table is being imported, and gives the id of the import.
func (db *DB) BeginImport(ctx context.Context, actor Actor) (id string, err error) {
	id = newID()
	err = db.change(ctx, actor, func(c *change) error {
		_, err := c.ExecContext(ctx, `INSERT INTO performed_import (id, made_by, made_at) VALUES ($1, $2, $3)`, id, actor.Account, at(db.now()))
		return err
	})
	return id, err
}

// AddSteps stores steps of an import in one transaction and says of each what became of it. What a step said before stays
// as an older version; the same again changes nothing.
func (db *DB) AddSteps(ctx context.Context, actor Actor, importID string, steps []StepRow) (outcomes []Outcome, err error) {
	err = db.change(ctx, actor, func(c *change) error {
		outcomes = outcomes[:0]
		for _, row := range steps {
			_, outcome, err := c.putStep(ctx, row.Step, importID, row.Line)
			if err != nil {
				return fmt.Errorf("line %d: %w", row.Line, err)
			}
			outcomes = append(outcomes, outcome)
		}
		return nil
	})
	return outcomes, err
}

// Imported is what became of a table.
type Imported struct {
	ID                            string
	Digest                        string // SHA-256 of the table's bytes, in lower-case hex
	Added, Changed, Same, Refused int
}

// EndImport notes what became of an import. The table itself is not kept: everything that was used of it is in its steps.
func (db *DB) EndImport(ctx context.Context, actor Actor, i Imported) error {
	return db.change(ctx, actor, func(c *change) error {
		if err := c.one(ctx, "end import", `UPDATE performed_import SET digest = $2, ended_at = $3, added = $4, changed = $5, same = $6, refused = $7 WHERE id = $1`,
			i.ID, i.Digest, at(db.now()), i.Added, i.Changed, i.Same, i.Refused); err != nil {
			return err
		}
		return c.note(ctx, importRecord(i))
	})
}

func importRecord(i Imported) audit.Record {
	return audit.Record{
		Action: "performed.import", Object: i.ID, After: i.Digest,
		Reason: fmt.Sprintf("%d added, %d changed, %d the same, %d lines left out", i.Added, i.Changed, i.Same, i.Refused),
	}
}
