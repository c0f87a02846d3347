package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"afterbeam/internal/audit"
)

// Span is a run of local days, both included; the zero Span is none.
type Span struct{ From, To string }

// Window says what a version's sums over several cases of the patient rest on, and whose sums rest on the version.
type Window struct {
	// Days are those of the other cases that the version's sums rest on.
	Days Span
	// Seen has the version of every other case of the patient, by id, as the sums were made.
	Seen map[string]int
	// Touched are the days of cases whose windows hold this one; none when what the case delivered has not changed.
	Touched []Span
}

// follow asks for the assessments that a saved version makes necessary: of other cases whose windows hold it, and of
// its own study when a case in its window has changed meanwhile. Since a refreshed window does not change what its case
// delivered, asking ends. What follows from a recomputation belongs to it.
func (c *change) follow(ctx context.Context, v Version, id string, p Priority, recomputations []string) error {
	for _, span := range v.Window.Touched {
		others, err := c.casesWithin(ctx, v.Case, span)
		if err != nil {
			return err
		}
		for _, other := range others {
			if other.id == id {
				continue
			}
			if err := c.refresh(ctx, other.study, p); err != nil {
				return err
			}
			if err := c.alsoRecompute(ctx, recomputations, other.study); err != nil {
				return err
			}
		}
	}
	others, err := c.casesWithin(ctx, v.Case, v.Window.Days)
	if err != nil {
		return err
	}
	for _, other := range others {
		if other.id == id || v.Window.Seen[other.id] == other.version {
			continue
		}
		if err := c.refresh(ctx, v.Case.StudyUID, p); err != nil {
			return err
		}
		break
	}
	return nil
}

type caseVersion struct {
	id, study string
	version   int
}

// casesWithin gives the cases of a case's patient, and of the records linked to it, on the days of a span; those without a
// day may lie in any.
func (c *change) casesWithin(ctx context.Context, of Case, days Span) ([]caseVersion, error) {
	if days == (Span{}) {
		return nil, nil
	}
	return rows(ctx, c, func(r *sql.Rows) (caseVersion, error) {
		var one caseVersion
		return one, r.Scan(&one.id, &one.study, &one.version)
	}, `SELECT id, study_uid, version FROM procedure_case WHERE basis <> 'replaced' AND (local_date = '' OR (local_date >= $2 AND local_date <= $3))
		AND patient_id IN (SELECT id FROM patient WHERE survivor = (SELECT survivor FROM patient WHERE id = $1)) ORDER BY id`,
		of.PatientID, days.From, days.To)
}

// Release gives a job back untried, because the storage or the service and not the job was at fault.
func (db *DB) Release(ctx context.Context, j Job, due time.Time) error {
	return db.change(ctx, System("pipeline"), func(c *change) error {
		return c.held(ctx, j, "release job", `UPDATE job SET state = 'ready', owner = '', leased_until = '', due_at = $3, attempt = attempt - 1
			WHERE id = $1 AND fence = $2 AND state = 'leased'`, at(due))
	})
}

// suspectDeaths is how many ends of the process a leased job may meet until it is suspected, and apart is how much longer
// than the first of them the other suspects wait, so that the one that ends the process is found to be it alone.
const (
	suspectDeaths = 2
	apart         = 5 * time.Second
)

// Resume gives back the jobs that a process which ended had leased. Those that failed for good stay so: what ends the
// process would end it again at each start. Only the process that serves the store may call it, before it starts to work.
func (db *DB) Resume(ctx context.Context) error {
	return db.change(ctx, System("pipeline"), func(c *change) error {
		var first sql.NullInt64
		err := c.QueryRowContext(ctx, `SELECT id FROM job WHERE state = 'leased' AND attempt >= $1 ORDER BY due_at, id LIMIT 1`, suspectDeaths).Scan(&first)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return fmt.Errorf("look for suspects: %w", err)
		}
		if _, err := c.ExecContext(ctx, `UPDATE job SET state = 'ready', owner = '', leased_until = '',
			due_at = CASE WHEN attempt >= $1 AND id <> $2 THEN $3 ELSE due_at END WHERE state = 'leased'`, suspectDeaths, first.Int64, at(c.db.now().Add(apart))); err != nil {
			return fmt.Errorf("give back leases: %w", err)
		}
		return nil
	})
}

// ForgetDone deletes at most so many jobs that are done and were due before a time, and gives their number. What they did
// stands in what they made and in the audit record. The time must lie far behind any lease: the number of a deleted job may
// be that of a new one.
func (db *DB) ForgetDone(ctx context.Context, before time.Time, most int) (jobs int, err error) {
	err = db.change(ctx, System("pipeline"), func(c *change) error {
		result, err := c.ExecContext(ctx, `DELETE FROM job WHERE id IN
			(SELECT id FROM job WHERE state = 'done' AND priority IN (0, 1) AND due_at < $1 LIMIT $2)`, at(before), most)
		if err != nil {
			return fmt.Errorf("forget jobs: %w", err)
		}
		changed, err := result.RowsAffected()
		jobs = int(changed)
		return err
	})
	return jobs, err
}

// RetryFailed has every job that failed for good tried again from the beginning, as after a fault was mended, and gives
// their number.
func (db *DB) RetryFailed(ctx context.Context, actor Actor, reason string) (jobs int, err error) {
	if reason == "" {
		return 0, fmt.Errorf("%w: trying failed jobs again wants a reason", ErrInvalid)
	}
	err = db.change(ctx, actor, func(c *change) error {
		result, err := c.ExecContext(ctx, `UPDATE job SET state = 'ready', attempt = 0, error = '', due_at = $1 WHERE state = 'failed'`, at(db.now()))
		if err != nil {
			return fmt.Errorf("try failed jobs again: %w", err)
		}
		changed, err := result.RowsAffected()
		if err != nil {
			return fmt.Errorf("try failed jobs again: %w", err)
		}
		jobs = int(changed)
		c.doses = c.doses || jobs > 0
		return c.note(ctx, audit.Record{Action: "jobs.retry", Object: fmt.Sprintf("%d jobs", jobs), Reason: reason})
	})
	return jobs, err
}
