package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/quantity"
)

// Recomputation is estimating anew: of everything, or of the cases of one device on the local days From to To, both
// included and "" open. It is kept with what it changed.
type Recomputation struct {
	ID              string
	DeviceID        string // "" is every device
	From, To        string
	Reason          string
	AskedBy         string // account
	AskedAt         time.Time
	Studies         int // asked for, and those that followed because a sum over several procedures holds them
	Waiting, Failed int
	Changed         int       // cases that differ
	EndedAt         time.Time // the zero time while a study waits
}

// Running tells whether studies still wait.
func (r Recomputation) Running() bool { return r.Waiting > 0 }

// Difference is what a recomputation changed of one case: between the version before its first estimate of it and the one
// after its last. Change is what the newest of these versions says of itself: a report or fact that came meanwhile is in
// the difference, and named there.
type Difference struct {
	Case                        Case
	VersionBefore, VersionAfter int
	FlagBefore, FlagAfter       string
	Change                      string
	Numbers                     []NumberChange // none when only flags or details differ
}

// NumberChange is one number before and after, in its canonical unit; absent is unknown.
type NumberChange struct {
	Quantity      string
	Before, After quantity.Opt[float64]
}

// noNumber marks a difference without a number.
const noNumber = ""

// numbersOf names the numbers of a case that a recomputation is watched for.
func numbersOf(c Case) []NumberChange {
	of := func(name string, v sql.NullFloat64) NumberChange {
		n := NumberChange{Quantity: name}
		if v.Valid {
			n.After = quantity.Some(v.Float64)
		}
		return n
	}
	return []NumberChange{
		of("kerma", null(c.Kerma)), of("kap", null(c.KAP)), of("fluoroscopy_time", null(c.FluoroTime)),
		of("peak_skin_dose", null(c.PSD)), of("peak_skin_dose_low", null(c.PSDLow)), of("peak_skin_dose_high", null(c.PSDHigh)),
		of("effective_dose", null(c.Effective)), of("effective_dose_low", null(c.EffectiveLow)), of("effective_dose_high", null(c.EffectiveHigh)),
	}
}

// Recompute asks for estimates to be made anew: DeviceID, From, To and Reason of r. The studies are jobs that wait for
// everything that arrives. A device that is not there is ErrNotFound.
func (db *DB) Recompute(ctx context.Context, actor Actor, r Recomputation) (Recomputation, error) {
	err := db.change(ctx, actor, func(c *change) error {
		if r.DeviceID != "" {
			if err := c.QueryRowContext(ctx, `SELECT id FROM device WHERE id = $1`, r.DeviceID).Scan(&r.DeviceID); err != nil {
				return err
			}
		}
		var err error
		r, err = c.recompute(ctx, r)
		return err
	})
	return r, err
}

// studiesToDo are the studies of a recomputation of device $1 on the days $2 to $3. A study of the device that is being
// estimated at this moment is among them: that estimate may have begun before.
const studiesToDo = `(
	SELECT study_uid FROM procedure_case WHERE ($1 = '' OR device_key = (SELECT device_key FROM device WHERE id = $1))
		AND ($2 = '' OR local_date >= $2) AND ($3 = '' OR local_date <= $3)
	UNION
	SELECT study_uid FROM report WHERE $1 = '' AND $2 = '' AND $3 = ''
	UNION
	SELECT r.study_uid FROM job j JOIN report r ON r.study_uid = j.subject WHERE j.kind = 'assess' AND j.state = 'leased'
		AND ($1 = '' OR r.device_key = (SELECT device_key FROM device WHERE id = $1))) AS studies`

func (c *change) countStudies(ctx context.Context, r Recomputation) (n int, err error) {
	err = c.QueryRowContext(ctx, `SELECT COUNT(*) FROM `+studiesToDo, r.DeviceID, r.From, r.To).Scan(&n)
	return n, err
}

// recompute keeps the recomputation and asks for its studies.
func (c *change) recompute(ctx context.Context, r Recomputation) (Recomputation, error) {
	r, err := c.beginRecomputation(ctx, r)
	if err != nil {
		return r, err
	}
	result, err := c.ExecContext(ctx, `INSERT INTO recomputation_study (recomputation_id, study_uid, state) SELECT $4, study_uid, 'waiting' FROM `+studiesToDo,
		r.DeviceID, r.From, r.To, r.ID)
	if err != nil {
		return r, fmt.Errorf("list studies to estimate anew: %w", err)
	}
	n, err := result.RowsAffected()
	if err != nil {
		return r, err
	}
	return c.wantRecomputation(ctx, r, int(n))
}

// recomputeStudies keeps a recomputation of the studies named and asks for them.
func (c *change) recomputeStudies(ctx context.Context, r Recomputation, studies []string) (Recomputation, error) {
	r, err := c.beginRecomputation(ctx, r)
	if err != nil {
		return r, err
	}
	slices.Sort(studies)
	studies = slices.Compact(studies)
	for _, study := range studies {
		if _, err := c.ExecContext(ctx, `INSERT INTO recomputation_study (recomputation_id, study_uid, state) VALUES ($1, $2, 'waiting')`, r.ID, study); err != nil {
			return r, fmt.Errorf("list study to estimate anew: %w", err)
		}
	}
	return c.wantRecomputation(ctx, r, len(studies))
}

func (c *change) beginRecomputation(ctx context.Context, r Recomputation) (Recomputation, error) {
	r.ID, r.AskedBy, r.AskedAt = newID(), c.actor.Account, c.db.now().UTC().Truncate(time.Microsecond)
	if _, err := c.ExecContext(ctx, `INSERT INTO recomputation (id, device_id, from_day, to_day, reason, asked_by, asked_at) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		r.ID, r.DeviceID, r.From, r.To, r.Reason, r.AskedBy, at(r.AskedAt)); err != nil {
		return r, fmt.Errorf("insert recomputation: %w", err)
	}
	return r, nil
}

// wantRecomputation asks for the n studies that a recomputation lists.
func (c *change) wantRecomputation(ctx context.Context, r Recomputation, n int) (Recomputation, error) {
	r.Studies, r.Waiting = n, n
	if n == 0 {
		r.EndedAt = r.AskedAt
	}
	if err := c.wantAll(ctx, r.ID); err != nil {
		return r, err
	}
	return r, c.note(ctx, audit.Record{Action: "estimates.recompute", Object: r.ID, Reason: r.Reason, After: fmt.Sprintf("%d studies", r.Studies)})
}

// wantAll asks for the assessment of every study of a recomputation.
func (c *change) wantAll(ctx context.Context, id string) error {
	now := at(c.db.now())
	_, err := c.ExecContext(ctx, `INSERT INTO job (kind, subject, state, due_at, created_at, priority)
		SELECT $1, study_uid, 'ready', $3, $4, $5 FROM recomputation_study WHERE recomputation_id = $2 ORDER BY study_uid`+askedAgain,
		JobAssess, id, now, now, Background)
	if err != nil {
		return fmt.Errorf("ask for studies to be estimated anew: %w", err)
	}
	return nil
}

// methodsSetting is where the store remembers the methods of the newest estimates.
const methodsSetting = "methods"

// Renew asks for everything to be estimated anew when the methods, tables and levels in force are others than those it was
// told before. Only the process that serves the store may call it. It gives the number of studies.
func (db *DB) Renew(ctx context.Context, methods string) (studies int, err error) {
	err = db.change(ctx, System("pipeline"), func(c *change) error {
		var before string
		err := c.QueryRowContext(ctx, `SELECT value FROM setting WHERE name = $1`, methodsSetting).Scan(&before)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		if before == methods {
			return nil
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO setting (name, value) VALUES ($1, $2) ON CONFLICT (name) DO UPDATE SET value = $2`, methodsSetting, methods); err != nil {
			return fmt.Errorf("remember methods: %w", err)
		}
		var cases int
		if err := c.QueryRowContext(ctx, `SELECT COUNT(*) FROM (SELECT 1 FROM procedure_case LIMIT 1) AS any_case`).Scan(&cases); err != nil || cases == 0 {
			return err
		}
		r, err := c.recompute(ctx, Recomputation{Reason: "methods, tables or levels are new"})
		studies = r.Studies
		return err
	})
	return studies, err
}

// open lists the recomputations that wait for a study.
func (c *change) open(ctx context.Context, study string) ([]string, error) {
	return rows(ctx, c, func(r *sql.Rows) (string, error) {
		var id string
		return id, r.Scan(&id)
	}, `SELECT recomputation_id FROM recomputation_study WHERE study_uid = $1 AND state IN ('waiting', 'failed') ORDER BY recomputation_id`, study)
}

// alsoRecompute has a study that follows from one of the recomputations belong to them as well. One whose job failed for
// good is not tried for that.
func (c *change) alsoRecompute(ctx context.Context, recomputations []string, study string) error {
	for _, id := range recomputations {
		if _, err := c.ExecContext(ctx, `INSERT INTO recomputation_study (recomputation_id, study_uid, state) VALUES ($1, $2,
			CASE WHEN EXISTS (SELECT 1 FROM job WHERE kind = 'assess' AND subject = $2 AND state = 'failed') THEN 'failed' ELSE 'waiting' END)
			ON CONFLICT (recomputation_id, study_uid) DO UPDATE SET state = excluded.state, done_at = ''`, id, study); err != nil {
			return fmt.Errorf("add study to recomputation: %w", err)
		}
	}
	return nil
}

// differ keeps what the next version of a case changes, for each of the recomputations; a first version changes nothing.
func (c *change) differ(ctx context.Context, recomputations []string, is Case) error {
	if is.Version == 1 || len(recomputations) == 0 {
		return nil
	}
	was, err := caseOf(ctx, c, is.ID)
	if err != nil {
		return err
	}
	before, after := numbersOf(was), numbersOf(is)
	for _, id := range recomputations {
		kept := 0
		for i, now := range after {
			if before[i].After == now.After {
				continue
			}
			kept++
			if err := c.keepDifference(ctx, id, was, is, NumberChange{Quantity: now.Quantity, Before: before[i].After, After: now.After}); err != nil {
				return err
			}
		}
		if kept == 0 {
			if err := c.keepDifference(ctx, id, was, is, NumberChange{Quantity: noNumber}); err != nil {
				return err
			}
		}
		// What an earlier estimate of the same recomputation changed ends where this one ends.
		if _, err := c.ExecContext(ctx, `UPDATE recomputation_difference SET flag_after = $3, version_after = $4 WHERE recomputation_id = $1 AND procedure_id = $2`,
			id, is.ID, is.FlagState, is.Version); err != nil {
			return fmt.Errorf("update differences: %w", err)
		}
	}
	return nil
}

func (c *change) keepDifference(ctx context.Context, id string, was, is Case, n NumberChange) error {
	if _, err := c.ExecContext(ctx, `INSERT INTO recomputation_difference
			(recomputation_id, procedure_id, quantity, before, after, flag_before, flag_after, version_before, version_after)
		VALUES ($1, $2, $3, $4, $5,
			COALESCE((SELECT MIN(flag_before) FROM recomputation_difference WHERE recomputation_id = $1 AND procedure_id = $2), $6), $7,
			COALESCE((SELECT MIN(version_before) FROM recomputation_difference WHERE recomputation_id = $1 AND procedure_id = $2), $8), $9)
		ON CONFLICT (recomputation_id, procedure_id, quantity) DO UPDATE SET after = $5`,
		id, is.ID, n.Quantity, null(n.Before), null(n.After), was.FlagState, is.FlagState, was.Version, is.Version); err != nil {
		return fmt.Errorf("keep difference: %w", err)
	}
	return nil
}

// settleStudies ends the wait of recomputations for a study whose job is at its end, unless it was asked for again
// meanwhile: then the estimate just made may rest on what held before.
func (c *change) settleStudies(ctx context.Context, j Job, recomputations []string) error {
	if len(recomputations) == 0 {
		return nil
	}
	var wanted int64
	if err := c.QueryRowContext(ctx, `SELECT wanted FROM job WHERE id = $1`, j.ID).Scan(&wanted); err != nil || wanted != j.wanted {
		return err
	}
	for _, id := range recomputations {
		if _, err := c.ExecContext(ctx, `UPDATE recomputation_study SET state = 'done', done_at = $3 WHERE recomputation_id = $1 AND study_uid = $2`,
			id, j.Subject, at(c.db.now())); err != nil {
			return fmt.Errorf("end study of recomputation: %w", err)
		}
	}
	return nil
}

// failStudies tells the recomputations that wait for a study that its job failed for good.
func (c *change) failStudies(ctx context.Context, j Job) error {
	if j.Kind != JobAssess {
		return nil
	}
	if _, err := c.ExecContext(ctx, `UPDATE recomputation_study SET state = 'failed', done_at = $2 WHERE study_uid = $1 AND state = 'waiting'`,
		j.Subject, at(c.db.now())); err != nil {
		return fmt.Errorf("fail study of recomputation: %w", err)
	}
	return nil
}

const recomputationColumns = `id, device_id, from_day, to_day, reason, asked_by, asked_at,
	(SELECT COUNT(*) FROM recomputation_study WHERE recomputation_id = recomputation.id),
	(SELECT COUNT(*) FROM recomputation_study WHERE recomputation_id = recomputation.id AND state = 'waiting'),
	(SELECT COUNT(*) FROM recomputation_study WHERE recomputation_id = recomputation.id AND state = 'failed'),
	(SELECT COUNT(DISTINCT procedure_id) FROM recomputation_difference WHERE recomputation_id = recomputation.id),
	(SELECT COALESCE(MAX(done_at), '') FROM recomputation_study WHERE recomputation_id = recomputation.id)`

func scanRecomputation(row interface{ Scan(...any) error }) (Recomputation, error) {
	var r Recomputation
	var asked, ended dbTime
	err := row.Scan(&r.ID, &r.DeviceID, &r.From, &r.To, &r.Reason, &r.AskedBy, &asked, &r.Studies, &r.Waiting, &r.Failed, &r.Changed, &ended)
	r.AskedAt = asked.Time
	switch {
	case r.Studies == 0:
		r.EndedAt = r.AskedAt
	case r.Waiting == 0:
		r.EndedAt = ended.Time
	}
	return r, kind(err)
}

// Recomputation gives a recomputation and how far it has come.
func (db *DB) Recomputation(ctx context.Context, id string) (Recomputation, error) {
	return scanRecomputation(db.read.QueryRowContext(ctx, `SELECT `+recomputationColumns+` FROM recomputation WHERE id = $1`, id))
}

// Recomputations lists recomputations, newest first, after the cursor (the id of the last one seen, "" for the start).
func (db *DB) Recomputations(ctx context.Context, after string, limit int) ([]Recomputation, error) {
	var args []any
	query := `SELECT ` + recomputationColumns + ` FROM recomputation`
	if after != "" {
		if err := cursor(ctx, db.read, "recomputation", after); err != nil {
			return nil, err
		}
		query += ` WHERE (asked_at, id) < (SELECT asked_at, id FROM recomputation WHERE id = ` + placeholder(&args, after) + `)`
	}
	query += ` ORDER BY asked_at DESC, id DESC LIMIT ` + placeholder(&args, limit)
	return rows(ctx, db.read, func(r *sql.Rows) (Recomputation, error) { return scanRecomputation(r) }, query, args...)
}

// Differences lists the cases that a recomputation changed, by id, after the cursor (the id of the last case seen, "" for
// the start).
func (db *DB) Differences(ctx context.Context, id, after string, limit int) ([]Difference, error) {
	var all []Difference
	err := db.snapshot(ctx, func(q querier) error {
		if after != "" {
			if err := cursor(ctx, q, "procedure_case", after); err != nil {
				return err
			}
		}
		changed, err := rows(ctx, q, func(r *sql.Rows) (Difference, error) {
			var d Difference
			return d, r.Scan(&d.Case.ID, &d.FlagBefore, &d.FlagAfter, &d.VersionBefore, &d.VersionAfter)
		}, `SELECT procedure_id, MIN(flag_before), MIN(flag_after), MIN(version_before), MIN(version_after) FROM recomputation_difference
			WHERE recomputation_id = $1 AND procedure_id > $2 GROUP BY procedure_id ORDER BY procedure_id LIMIT $3`, id, after, limit)
		if err != nil {
			return err
		}
		for _, d := range changed {
			if d.Case, err = caseOf(ctx, q, d.Case.ID); err != nil {
				return err
			}
			if err := q.QueryRowContext(ctx, `SELECT change FROM procedure_version WHERE procedure_id = $1 AND version = $2`, d.Case.ID, d.VersionAfter).
				Scan(&d.Change); err != nil {
				return kind(err)
			}
			if d.Numbers, err = numberChanges(ctx, q, id, d.Case.ID); err != nil {
				return err
			}
			all = append(all, d)
		}
		return nil
	})
	return all, err
}

// numberChanges gives the numbers of a case that a recomputation changed; one that came back to what it was is left out.
func numberChanges(ctx context.Context, q querier, id, procedure string) ([]NumberChange, error) {
	return rows(ctx, q, func(r *sql.Rows) (NumberChange, error) {
		var n NumberChange
		return n, r.Scan(&n.Quantity, opt[float64]{&n.Before}, opt[float64]{&n.After})
	}, `SELECT quantity, before, after FROM recomputation_difference WHERE recomputation_id = $1 AND procedure_id = $2 AND quantity <> ''
		AND before IS DISTINCT FROM after ORDER BY quantity`, id, procedure)
}
