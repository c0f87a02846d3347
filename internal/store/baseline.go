package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/summary/trend"
)

// FrozenBaseline is what the limits of a control chart rest on since somebody said so.
type FrozenBaseline struct {
	ID string
	trend.Baseline
	Reason string
	// By is the account that froze it, at a moment.
	By string
	At time.Time
}

// FreezeBaseline keeps a baseline of a chart; the one that holds until now ends.
func (db *DB) FreezeBaseline(ctx context.Context, actor Actor, b trend.Baseline, reason string) (FrozenBaseline, error) {
	if err := words("reason", reason); err != nil {
		return FrozenBaseline{}, err
	}
	if b.Key == "" || b.N == 0 {
		return FrozenBaseline{}, fmt.Errorf("%w: a baseline wants a chart and points", ErrInvalid)
	}
	f := FrozenBaseline{ID: newID(), Baseline: b, Reason: reason, By: actor.Account, At: db.now().UTC().Truncate(time.Microsecond)}
	f.Frozen, f.FrozenOn, f.FrozenBy = true, db.Today(), actor.Account
	body, err := json.Marshal(f.Baseline)
	if err != nil {
		return f, fmt.Errorf("encode baseline: %w", err)
	}
	err = db.change(ctx, actor, func(c *change) error {
		if err := c.endBaseline(ctx, b.Key, reason); err != nil && !errors.Is(err, ErrNotFound) {
			return err
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO chart_baseline (id, chart, body, reason, frozen_by, frozen_on, frozen_at) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
			f.ID, b.Key, string(body), reason, f.By, f.FrozenOn, at(f.At)); err != nil {
			return fmt.Errorf("insert baseline: %w", err)
		}
		return c.note(ctx, audit.Record{Action: "baseline.freeze", Object: b.Key, Reason: reason, After: f.ID})
	})
	return f, err
}

// EndBaseline ends the baseline of a chart: it proposes one again.
func (db *DB) EndBaseline(ctx context.Context, actor Actor, chart, reason string) error {
	if err := words("reason", reason); err != nil {
		return err
	}
	return db.change(ctx, actor, func(c *change) error {
		if err := c.endBaseline(ctx, chart, reason); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "baseline.end", Object: chart, Reason: reason})
	})
}

func (c *change) endBaseline(ctx context.Context, chart, reason string) error {
	return c.one(ctx, "end baseline", `UPDATE chart_baseline SET ended_by = $2, ended_at = $3, end_reason = $4 WHERE chart = $1 AND ended_at = ''`,
		chart, c.actor.Account, at(c.db.now()), reason)
}

// Baselines gives the frozen baselines in force, in the order of their charts.
func (db *DB) Baselines(ctx context.Context) ([]FrozenBaseline, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (FrozenBaseline, error) {
		var f FrozenBaseline
		var body string
		var frozen dbTime
		if err := r.Scan(&f.ID, &body, &f.Reason, &f.By, &frozen); err != nil {
			return f, err
		}
		f.At = frozen.Time
		if err := json.Unmarshal([]byte(body), &f.Baseline); err != nil {
			return f, fmt.Errorf("baseline %s: %w", f.ID, err)
		}
		return f, nil
	}, `SELECT id, body, reason, frozen_by, frozen_at FROM chart_baseline WHERE ended_at = '' ORDER BY chart`)
}
