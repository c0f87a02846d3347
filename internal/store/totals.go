package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"afterbeam/internal/followup/completeness"
)

// StepsWithTotals gives the performed steps of a study whose equipment announced dose totals.
func (db *DB) StepsWithTotals(ctx context.Context, study string) ([]Performed, error) {
	return performedList(ctx, db.read, `SELECT `+performedColumns+` FROM `+performedTables+` WHERE s.study_uid = $1 AND s.has_totals = 1 ORDER BY s.source, s.key`, study)
}

// TotalsCases gives the cases of a study that were made from announced totals and count as such.
func (db *DB) TotalsCases(ctx context.Context, study string) ([]Case, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Case, error) { return scanCase(r) },
		`SELECT `+caseColumns+` FROM procedure_case WHERE study_uid = $1 AND basis = $2 ORDER BY device_key, id`, study, BasisTotals)
}

// HasReport tells whether a dose report of a performed step came, under whatever study.
func (db *DB) HasReport(ctx context.Context, p Performed) (bool, error) {
	day := p.Step.Start.LocalDate()
	list, _, err := db.Completeness(ctx, day, day, completeness.Rules{Window: completeness.DefaultWindow})
	if err != nil {
		return false, err
	}
	for _, row := range list.Rows {
		for _, s := range row.Steps {
			if s.ID == p.ID {
				return row.By != "", nil
			}
		}
	}
	return false, nil
}

// StepPatient finds or makes the patient record of a performed step.
func (db *DB) StepPatient(ctx context.Context, p Performed) (id string, err error) {
	i := p.Step.Patient
	err = db.change(ctx, System("pipeline"), func(c *change) error {
		id, _, err = c.resolve(ctx, Identity{Number: i.Number, Issuer: i.Issuer, Name: i.Name, BirthDate: i.BirthDate, Sex: i.Sex}, p.Step.StudyUID)
		return err
	})
	return id, err
}

// wantTotals asks for the studies to be looked at again whose case was made from announced totals and may be the one of
// which a report has come now.
func (c *change) wantTotals(ctx context.Context, came Case, p Priority) error {
	first, last := came.LocalDate, came.LocalDate
	if day, err := time.Parse(time.DateOnly, came.LocalDate); err == nil {
		first, last = day.AddDate(0, 0, -1).Format(time.DateOnly), day.AddDate(0, 0, 1).Format(time.DateOnly)
	}
	studies, err := rows(ctx, c, func(r *sql.Rows) (string, error) {
		var study string
		return study, r.Scan(&study)
	}, `SELECT DISTINCT study_uid FROM procedure_case WHERE basis = $1 AND study_uid <> $2
		AND ((accession <> '' AND accession = $3) OR (local_date >= $4 AND local_date <= $5)) ORDER BY study_uid`,
		BasisTotals, came.StudyUID, came.Accession, first, last)
	if err != nil {
		return fmt.Errorf("cases of totals: %w", err)
	}
	for _, study := range studies {
		if err := c.want(ctx, JobAssess, study, p); err != nil {
			return err
		}
	}
	return nil
}
