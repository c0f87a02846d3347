package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"afterbeam/internal/audit"
)

// JobKind is a step of the pipeline.
type JobKind string

// The kinds of job. The subject of JobRead is a receipt, that of JobAssess a study UID, that of JobOrgans a case.
const (
	JobRead   JobKind = "read"
	JobAssess JobKind = "assess"
	JobOrgans JobKind = "organs"
)

// Priority is how soon a job is done beside others that are due.
type Priority int

// The priorities. Live work always goes first, however long the other waits: a site's rooms deliver far less than a
// worker does, and a service that is never through with what arrives has no time for anything else.
const (
	// Live is work on what arrives now or what a person asked for.
	Live Priority = iota
	// Background is work that may wait: back-fills and estimating anew.
	Background
)

// Job is one leased piece of work. Each lease has a fence number of its own: a worker whose lease ran out cannot finish
// the job any more.
type Job struct {
	ID      int64
	Kind    JobKind
	Subject string
	Attempt int // 1 at the first try
	// Priority is that of what the job makes necessary, too.
	Priority Priority
	fence    int64
	wanted   int64
}

// MaxAttempts is how often a job is tried before it counts as poison. Errors of the storage do not count.
const MaxAttempts = 5

// want asks for a job now. Wanting one that is under way has it run once more afterwards.
func (c *change) want(ctx context.Context, kind JobKind, subject string, p Priority) error {
	return c.wantAt(ctx, kind, subject, p, time.Time{})
}

// askForJob asks for the job of kind $1 and subject $2 at $3, now being $4, with priority $5.
const askForJob = `INSERT INTO job (kind, subject, state, due_at, created_at, priority) VALUES ($1, $2, 'ready', $3, $4, $5)` + askedAgain

// askedAgain ends an insertion of jobs with what becomes of those that are there. One that failed for good is tried once
// more and not from the beginning: if it ends the process, it does so once.
const askedAgain = ` ON CONFLICT (kind, subject) DO UPDATE SET wanted = job.wanted + 1, error = '',
	due_at = CASE WHEN job.state IN ('ready', 'leased') AND job.due_at < $3 THEN job.due_at ELSE $3 END,
	priority = CASE WHEN job.state IN ('ready', 'leased') AND job.priority < $5 THEN job.priority ELSE $5 END,
	attempt = CASE WHEN job.state IN ('leased', 'failed') THEN job.attempt ELSE 0 END,
	state = CASE WHEN job.state = 'leased' THEN 'leased' ELSE 'ready' END`

// wantAt asks for a job at a time, the zero time being now. One that is not done yet and is due sooner, or of higher
// priority, stays so.
func (c *change) wantAt(ctx context.Context, kind JobKind, subject string, p Priority, due time.Time) error {
	return c.ask(ctx, askForJob, kind, subject, p, due)
}

// refresh asks for an assessment whose own input has not changed. One that failed for good stays so: it would fail again.
func (c *change) refresh(ctx context.Context, study string, p Priority) error {
	return c.ask(ctx, askForJob+` WHERE job.state <> 'failed'`, JobAssess, study, p, time.Time{})
}

func (c *change) ask(ctx context.Context, statement string, kind JobKind, subject string, p Priority, due time.Time) error {
	now := c.db.now()
	if due.IsZero() {
		due = now
	}
	if _, err := c.ExecContext(ctx, statement, kind, subject, at(due), at(now), p); err != nil {
		return fmt.Errorf("ask for %s job: %w", kind, err)
	}
	c.doses = c.doses || kind == JobAssess // a patient's answer tells failed from waiting
	return nil
}

// nextJob finds the job to be done next at $1. Each part goes down an index and stops at its first row.
const nextJob = `SELECT id FROM (
	SELECT * FROM (SELECT id, due_at, priority FROM job WHERE state = 'ready' AND priority = 0 AND due_at <= $1 ORDER BY due_at, id LIMIT 1) AS live
	UNION ALL
	SELECT * FROM (SELECT id, due_at, priority FROM job WHERE state = 'ready' AND priority = 1 AND due_at <= $1 ORDER BY due_at, id LIMIT 1) AS background
	UNION ALL
	SELECT * FROM (SELECT id, due_at, priority FROM job WHERE state = 'leased' AND leased_until <= $1 ORDER BY priority, due_at, id LIMIT 1) AS left_behind
	) AS next ORDER BY priority, due_at, id LIMIT 1`

// Lease takes the next job that is due, or one whose lease ran out, for the given time. It returns ErrNotFound when
// there is none; finding that out does not trouble the writer, so that workers may ask often.
func (db *DB) Lease(ctx context.Context, owner string, lease time.Duration) (j Job, err error) {
	now := db.now()
	var id int64
	if err := db.read.QueryRowContext(ctx, nextJob, at(now)).Scan(&id); err != nil {
		return j, kind(ended(ctx, err))
	}
	err = db.change(ctx, Actor{}, func(c *change) error {
		// Another worker may have been faster: the one found above is looked for anew.
		return c.QueryRowContext(ctx, `UPDATE job SET state = 'leased', owner = $2, leased_until = $3, attempt = attempt + 1, fence = fence + 1
			WHERE id = (`+nextJob+`) RETURNING id, kind, subject, attempt, fence, wanted, priority`, at(now), owner, at(now.Add(lease))).
			Scan(&j.ID, &j.Kind, &j.Subject, &j.Attempt, &j.fence, &j.wanted, &j.Priority)
	})
	return j, err
}

// finish ends a job inside the transaction of its result. A lease lost to another worker is ErrConflict and takes the
// result back with it.
func (c *change) finish(ctx context.Context, j Job) error {
	return c.held(ctx, j, "finish job", `UPDATE job SET state = CASE WHEN wanted = $3 THEN 'done' ELSE 'ready' END, owner = '', leased_until = '', error = '',
		attempt = 0 WHERE id = $1 AND fence = $2 AND state = 'leased'`, j.wanted)
}

// held changes a leased job; $1 and $2 are its id and fence. A lease lost to another worker is ErrConflict.
func (c *change) held(ctx context.Context, j Job, doing, statement string, args ...any) error {
	err := c.one(ctx, doing, statement, append([]any{j.ID, j.fence}, args...)...)
	if errors.Is(err, ErrNotFound) {
		return fmt.Errorf("%w: job %d was taken over", ErrConflict, j.ID)
	}
	return err
}

// Finish ends a job that had nothing to store.
func (db *DB) Finish(ctx context.Context, j Job) error {
	return db.change(ctx, System("pipeline"), func(c *change) error { return c.finish(ctx, j) })
}

// Retry gives a job back to be tried again at the given time, or marks it failed after MaxAttempts. One that was asked
// for again meanwhile starts anew. Its error text must hold no patient data.
func (db *DB) Retry(ctx context.Context, j Job, reason string, due time.Time) error {
	return db.change(ctx, System("pipeline"), func(c *change) error {
		var wanted int64
		if err := c.QueryRowContext(ctx, `SELECT wanted FROM job WHERE id = $1`, j.ID).Scan(&wanted); err != nil {
			return err
		}
		state, attempt := "ready", j.Attempt
		switch {
		case wanted != j.wanted:
			attempt = 0
		case j.Attempt >= MaxAttempts:
			state = "failed"
		}
		err := c.held(ctx, j, "give job back", `UPDATE job SET state = $3, owner = '', leased_until = '', attempt = $4, due_at = $5, error = $6
			WHERE id = $1 AND fence = $2 AND state = 'leased'`, state, attempt, at(due), reason)
		if err != nil || state == "ready" {
			return err
		}
		c.doses = true // what a patient's answer says it lacks
		if err := c.failStudies(ctx, j); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "job.fail", Object: string(j.Kind) + " " + j.Subject, Outcome: "failed", Reason: reason})
	})
}

// QuarantineRead ends the reading of a receipt whose object turned out to be no usable dose report.
func (db *DB) QuarantineRead(ctx context.Context, j Job, reason string) error {
	return db.change(ctx, System("pipeline"), func(c *change) error {
		if err := c.setReceipt(ctx, j.Subject, ReceiptQuarantined, reason); err != nil {
			return err
		}
		if err := c.note(ctx, audit.Record{Action: "report.quarantine", Object: j.Subject, Reason: reason}); err != nil {
			return err
		}
		return c.finish(ctx, j)
	})
}

// Backlog tells how much work on reports waits: jobs ready or leased, jobs that failed for good, and when the oldest waiting
// one was asked for (the zero time when none waits). Organ doses, which follow in the background, are counted apart. What is asked for at a later time is no work yet; what is to be tried
// again is.
type Backlog struct {
	Waiting, Failed int
	Oldest          time.Time
	Organs          int // cases whose organ doses wait
}

// Backlog counts the jobs that are not done.
func (db *DB) Backlog(ctx context.Context) (Backlog, error) {
	var b Backlog
	var oldest sql.NullString
	err := db.read.QueryRowContext(ctx, `SELECT COUNT(CASE WHEN state <> 'failed' AND kind <> 'organs' THEN 1 END), COUNT(CASE WHEN state = 'failed' THEN 1 END),
		MIN(CASE WHEN state <> 'failed' AND kind <> 'organs' THEN due_at END), COUNT(CASE WHEN state <> 'failed' AND kind = 'organs' THEN 1 END)
		FROM job WHERE state IN ('ready', 'leased', 'failed') AND NOT (state = 'ready' AND due_at > $1 AND error = '')`, at(db.now())).
		Scan(&b.Waiting, &b.Failed, &oldest, &b.Organs)
	if err != nil {
		return b, kind(err)
	}
	if oldest.Valid {
		var t dbTime
		if err := t.Scan(oldest.String); err != nil {
			return b, err
		}
		b.Oldest = t.Time
	}
	return b, nil
}
