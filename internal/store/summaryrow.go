package store

import (
	"context"
	"fmt"

	"afterbeam/internal/audit"
)

// summaryColumns are those of a summary row, in the order of summaryRows.
const summaryColumns = `local_date, procedure_id, version, start_at, start_offset, patient, room, device_key, class, complexity, description, state, basis,
	flag_state, gaps, pregnant, quality, kerma_gy, kerma_factor, kap_gym2, fluoro_s, images, psd_gy, psd_low_gy, psd_high_gy, psd_method, no_peak,
	effective_sv, effective_low_sv, effective_high_sv, effective_method, no_effective, age_years, sex, height_mm, weight_kg, persons`

// summaryRows makes the summary rows from what is stored otherwise; cases that a report replaced have none. It is the one
// definition: the rows are made by it and checked against it.
const summaryRows = `SELECT k.local_date, k.id, k.version, k.start_at, k.start_offset, p.survivor, k.room, k.device_key, k.class, k.complexity, k.description, k.state, k.basis,
	k.flag_state, k.gaps, k.pregnant, k.quality, k.kerma_gy, k.kerma_factor, k.kap_gym2, k.fluoro_s, k.images, k.psd_gy, k.psd_low_gy, k.psd_high_gy, k.psd_method, k.no_peak,
	k.effective_sv, k.effective_low_sv, k.effective_high_sv, k.effective_method, k.no_effective, k.age_years, k.sex, k.height_mm, k.weight_kg,
	COALESCE((SELECT group_concat(who, char(10)) FROM (
		SELECT rp.role || ':' || rp.person_id AS who FROM report r JOIN report_person rp ON rp.report_id = r.id
			WHERE r.study_uid = k.study_uid AND r.device_key = k.device_key AND r.patient_id = k.patient_id
		UNION SELECT pp.role || ':' || pp.person_id FROM performed_step s JOIN performed_person pp ON pp.step_id = s.id
			WHERE s.study_uid <> '' AND s.study_uid = k.study_uid ORDER BY 1)), '')
	FROM procedure_case k JOIN patient p ON p.id = k.patient_id WHERE k.basis <> 'replaced'`

// summarise makes the summary rows of the cases anew of which a condition on procedure_case k holds. Whatever changes what a
// row is made of calls it in the same transaction.
func (c *change) summarise(ctx context.Context, condition string, args ...any) error {
	if _, err := c.ExecContext(ctx, `DELETE FROM summary_case WHERE procedure_id IN (SELECT k.id FROM procedure_case k WHERE `+condition+`)`, args...); err != nil {
		return fmt.Errorf("clear summary rows: %w", err)
	}
	if _, err := c.ExecContext(ctx, `INSERT INTO summary_case (`+summaryColumns+`) `+summaryRows+` AND `+condition, args...); err != nil {
		return fmt.Errorf("write summary rows: %w", err)
	}
	return nil
}

// MakeSummaryRows makes every summary row anew, as after Verify has found one that differs, and gives the number of those that
// did.
func (db *DB) MakeSummaryRows(ctx context.Context, actor Actor, reason string) (differed int, err error) {
	if err := words("reason", reason); err != nil {
		return 0, err
	}
	err = db.change(ctx, actor, func(c *change) error {
		if differed, err = summaryDifferences(ctx, c); err != nil {
			return err
		}
		// Also those whose case is gone.
		if _, err := c.ExecContext(ctx, `DELETE FROM summary_case`); err != nil {
			return fmt.Errorf("clear summary rows: %w", err)
		}
		if err := c.summarise(ctx, "1 = 1"); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "summaries.remake", Object: fmt.Sprintf("%d rows differed", differed), Reason: reason})
	})
	return differed, err
}

// summaryDifferences counts the summary rows that differ from what they are made of, those too many and those that are lacking
// among them.
func summaryDifferences(ctx context.Context, q querier) (n int, err error) {
	kept := `SELECT ` + summaryColumns + ` FROM summary_case`
	err = q.QueryRowContext(ctx, `SELECT COUNT(DISTINCT procedure_id) FROM (SELECT * FROM (`+kept+` EXCEPT `+summaryRows+`) UNION ALL
		SELECT * FROM (`+summaryRows+` EXCEPT `+kept+`))`).Scan(&n)
	return n, kind(ended(ctx, err))
}
