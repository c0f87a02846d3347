package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// ArchivedState is how far the retrieval of an archive's object has come.
type ArchivedState string

// The states of an archive's object.
const (
	ArchivedKnown  ArchivedState = "known"  // found in the archive, not asked for yet
	ArchivedGot    ArchivedState = "got"    // kept here
	ArchivedFailed ArchivedState = "failed" // asked for without success; status and reason say why
)

// Archived is a dose report that an archive says it has.
type Archived struct {
	Archive               string // the AE title of the archive
	SOPInstance, SOPClass string // the class is "" where the archive did not say
	SeriesUID, StudyUID   string
	Day                   string // study date, 2026-01-31
	State                 ArchivedState
	Attempts              int
	Status, Reason        string // of the last attempt: the DIMSE status if there was one, and what it means
	TriedAt               time.Time
}

// ArchiveDay is one study date that an archive was searched for.
type ArchiveDay struct {
	Archive, Day string
	// Studies were found, Passed of them not looked into because of their modalities.
	Studies, Passed int
	// Problem is why the search came to no end, "" when it did.
	Problem    string
	SearchedAt time.Time
}

// NoteSearch keeps the outcome of the search of a day with the objects that it found, in one transaction, and tells how
// many of them are new to the list and how many are kept here already.
func (db *DB) NoteSearch(ctx context.Context, d ArchiveDay, found []Archived) (added, held int, err error) {
	err = db.change(ctx, System("archive"), func(c *change) error {
		added, held = 0, 0
		for _, one := range found {
			isNew, isHeld, err := c.noteFound(ctx, d, one)
			if err != nil {
				return err
			}
			if isNew {
				added++
			}
			if isHeld {
				held++
			}
		}
		_, err := c.ExecContext(ctx, `INSERT INTO archive_day (archive, day, studies, passed, problem, searched_at) VALUES ($1, $2, $3, $4, $5, $6)
			ON CONFLICT (archive, day) DO UPDATE SET studies = $3, passed = $4, problem = $5, searched_at = $6`,
			d.Archive, d.Day, d.Studies, d.Passed, d.Problem, at(db.now()))
		if err != nil {
			return fmt.Errorf("keep searched day: %w", err)
		}
		return nil
	})
	return added, held, err
}

// noteFound lists one object of an archive. One that is listed already keeps its history.
func (c *change) noteFound(ctx context.Context, d ArchiveDay, o Archived) (isNew, isHeld bool, err error) {
	var listed int
	if err := c.QueryRowContext(ctx, `SELECT (SELECT COUNT(*) FROM archive_object WHERE archive = $1 AND sop_instance = $2),
		EXISTS (SELECT 1 FROM receipt WHERE sop_instance = $2)`, d.Archive, o.SOPInstance).Scan(&listed, &isHeld); err != nil {
		return false, false, fmt.Errorf("look for object of archive: %w", err)
	}
	state := ArchivedKnown
	if isHeld {
		state = ArchivedGot
	}
	_, err = c.ExecContext(ctx, `INSERT INTO archive_object (archive, sop_instance, sop_class, series_uid, study_uid, day, state) VALUES ($1, $2, $3, $4, $5, $6, $7)
		ON CONFLICT (archive, sop_instance) DO UPDATE SET sop_class = $3, series_uid = $4, study_uid = $5, day = $6,
		state = CASE WHEN $7 = 'got' THEN 'got' ELSE archive_object.state END`,
		d.Archive, o.SOPInstance, o.SOPClass, o.SeriesUID, o.StudyUID, d.Day, state)
	if err != nil {
		return false, false, fmt.Errorf("list object of archive: %w", err)
	}
	return listed == 0, isHeld, nil
}

// SearchedDays gives the days of a period that an archive was searched for, in their order; "" is no bound.
func (db *DB) SearchedDays(ctx context.Context, archive, from, to string) ([]ArchiveDay, error) {
	args := []any{archive}
	return rows(ctx, db.read, func(r *sql.Rows) (ArchiveDay, error) {
		var d ArchiveDay
		var searched dbTime
		err := r.Scan(&d.Archive, &d.Day, &d.Studies, &d.Passed, &d.Problem, &searched)
		d.SearchedAt = searched.Time
		return d, err
	}, `SELECT archive, day, studies, passed, problem, searched_at FROM archive_day WHERE archive = $1`+within(&args, from, to)+` ORDER BY day`, args...)
}

// within bounds the study dates of a list.
func within(args *[]any, from, to string) string {
	terms := ""
	if from != "" {
		terms += " AND day >= " + placeholder(args, from)
	}
	if to != "" {
		terms += " AND day <= " + placeholder(args, to)
	}
	return terms
}

// Lacking lists what an archive has of a period and the store has not, whichever door it might have come by, in the order
// of days; "" is no bound.
func (db *DB) Lacking(ctx context.Context, archive, from, to string) ([]Archived, error) {
	args := []any{archive}
	return rows(ctx, db.read, func(r *sql.Rows) (Archived, error) {
		var o Archived
		var tried dbTime
		err := r.Scan(&o.Archive, &o.SOPInstance, &o.SOPClass, &o.SeriesUID, &o.StudyUID, &o.Day, &o.State, &o.Attempts, &o.Status, &o.Reason, &tried)
		o.TriedAt = tried.Time
		return o, err
	}, `SELECT archive, sop_instance, sop_class, series_uid, study_uid, day, state, attempts, status, reason, tried_at FROM archive_object
		WHERE archive = $1 AND state <> 'got' AND NOT EXISTS (SELECT 1 FROM receipt WHERE receipt.sop_instance = archive_object.sop_instance)`+
		within(&args, from, to)+` ORDER BY day, sop_instance`, args...)
}

// NoteFetched keeps the outcome of one attempt to retrieve an object.
func (db *DB) NoteFetched(ctx context.Context, o Archived) error {
	return db.change(ctx, System("archive"), func(c *change) error {
		return c.one(ctx, "keep outcome of retrieval", `UPDATE archive_object SET state = $3, attempts = attempts + 1, status = $4, reason = $5, tried_at = $6
			WHERE archive = $1 AND sop_instance = $2`, o.Archive, o.SOPInstance, o.State, o.Status, o.Reason, at(db.now()))
	})
}
