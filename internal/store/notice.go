package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/crashpoint"
	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/notice"
)

// NewNotice is a notice to be queued with the version that it is about.
type NewNotice struct {
	Kind    notice.Kind
	Rank    notice.Rank
	Urgent  bool
	Content []byte // a notice.Content as JSON
}

// Notice is what is to be told of a case. Its id is the reference that people see.
type Notice struct {
	ID      string
	CaseID  string // "" for a notice about notices
	Version int
	NewNotice
	// Placed tells that it was handed to messages, or that nobody wants it. Problem says why it is not.
	Placed    bool
	Problem   string
	CreatedAt time.Time
}

const noticeColumns = `id, COALESCE(procedure_id, ''), version, kind, rank, urgent, content, state = 'placed', problem, created_at`

func scanNotice(row interface{ Scan(...any) error }) (Notice, error) {
	var n Notice
	var made dbTime
	var content string
	err := row.Scan(&n.ID, &n.CaseID, &n.Version, &n.Kind, &n.Rank, &n.Urgent, &content, &n.Placed, &n.Problem, &made)
	n.Content, n.CreatedAt = []byte(content), made.Time
	return n, kind(err)
}

func noticeRow(r *sql.Rows) (Notice, error) { return scanNotice(r) }

// queueNotice writes a notice; the case is "" for one about notices.
func (c *change) queueNotice(ctx context.Context, caseID string, version int, n NewNotice) (string, error) {
	id, now := newID(), at(c.db.now())
	if _, err := c.ExecContext(ctx, `INSERT INTO notice (id, procedure_id, version, kind, rank, urgent, content, state, due_at, created_at)
		VALUES ($1, $2, $3, $4, $5, $6, $7, 'queued', $8, $8)`,
		id, sql.NullString{String: caseID, Valid: caseID != ""}, version, n.Kind, n.Rank, n.Urgent, string(n.Content), now); err != nil {
		return "", fmt.Errorf("queue notice: %w", err)
	}
	return id, c.note(ctx, audit.Record{Action: "notice.queue", Object: id, After: string(n.Kind)})
}

// LastNotice gives the newest notice of a case; ErrNotFound when nothing was told of it.
func (db *DB) LastNotice(ctx context.Context, caseID string) (Notice, error) {
	return scanNotice(db.read.QueryRowContext(ctx, `SELECT `+noticeColumns+` FROM notice WHERE procedure_id = $1 ORDER BY created_at DESC, version DESC LIMIT 1`, caseID))
}

// Notice gives a notice by its reference.
func (db *DB) Notice(ctx context.Context, id string) (Notice, error) {
	return scanNotice(db.read.QueryRowContext(ctx, `SELECT `+noticeColumns+` FROM notice WHERE id = $1`, id))
}

// NoticesOf lists the notices of a case, newest first.
func (db *DB) NoticesOf(ctx context.Context, caseID string) ([]Notice, error) {
	return rows(ctx, db.read, noticeRow, `SELECT `+noticeColumns+` FROM notice WHERE procedure_id = $1 ORDER BY created_at DESC, version DESC`, caseID)
}

// NoticesToPlace lists the notices that are not handed to messages yet and are due, the oldest first.
func (db *DB) NoticesToPlace(ctx context.Context, limit int) ([]Notice, error) {
	return rows(ctx, db.read, noticeRow, `SELECT `+noticeColumns+` FROM notice WHERE state = 'queued' AND due_at <= $1 ORDER BY due_at, id LIMIT $2`, at(db.now()), limit)
}

// Placement hands a notice to an account by a channel.
type Placement struct {
	Account, Channel string
	Due              time.Time
	// Digest puts the notice together with others that go at that time.
	Digest bool
}

// PlaceNotice hands a notice to messages, once. Where there is none, why says so.
func (db *DB) PlaceNotice(ctx context.Context, n Notice, to []Placement, why string) error {
	return db.change(ctx, System("notices"), func(c *change) error {
		if err := c.one(ctx, "place notice", `UPDATE notice SET state = 'placed', problem = $2 WHERE id = $1 AND state = 'queued'`, n.ID, why); err != nil {
			return err
		}
		for _, p := range to {
			if err := c.putInMessage(ctx, n, p); err != nil {
				return err
			}
		}
		return nil
	})
}

// putInMessage adds a notice to the digest that is being gathered, or makes a message of it. A message that was tried once
// never changes: its repeats are the same.
func (c *change) putInMessage(ctx context.Context, n Notice, p Placement) error {
	var id string
	err := sql.ErrNoRows
	if p.Digest {
		err = c.QueryRowContext(ctx, `SELECT id FROM notice_message WHERE account_id = $1 AND channel = $2 AND digest = 1 AND state = 'waiting' AND attempts = 0 AND due_at = $3`,
			p.Account, p.Channel, at(p.Due)).Scan(&id)
	}
	switch {
	case errors.Is(err, sql.ErrNoRows):
		id = newID()
		if _, err := c.ExecContext(ctx, `INSERT INTO notice_message (id, account_id, channel, digest, urgent, state, due_at, created_at) VALUES ($1, $2, $3, $4, $5, 'waiting', $6, $7)`,
			id, p.Account, p.Channel, p.Digest, n.Urgent, at(p.Due), at(c.db.now())); err != nil {
			return fmt.Errorf("make message: %w", err)
		}
	case err != nil:
		return err
	}
	if _, err := c.ExecContext(ctx, `INSERT INTO notice_in_message (message_id, notice_id) VALUES ($1, $2)`, id, n.ID); err != nil {
		return fmt.Errorf("put notice in message: %w", err)
	}
	return nil
}

// DelayNotice leaves a notice that has nobody to go to for a later time, with the reason.
func (db *DB) DelayNotice(ctx context.Context, id, problem string, due time.Time) error {
	return db.change(ctx, System("notices"), func(c *change) error {
		return c.one(ctx, "delay notice", `UPDATE notice SET problem = $2, due_at = $3 WHERE id = $1 AND state = 'queued'`, id, problem, at(due))
	})
}

// RaiseAlarm queues a notice about notices for a channel, "" for those that have nobody to go to, unless one was raised since
// before.
func (db *DB) RaiseAlarm(ctx context.Context, channel string, before time.Time, content []byte) (raised bool, err error) {
	err = db.change(ctx, System("notices"), func(c *change) error {
		result, err := c.ExecContext(ctx, `INSERT INTO notice_channel (channel, alarm_at) VALUES ($1, $2)
			ON CONFLICT (channel) DO UPDATE SET alarm_at = $2 WHERE notice_channel.alarm_at < $3`, channel, at(db.now()), at(before))
		if err != nil {
			return fmt.Errorf("raise alarm: %w", err)
		}
		if n, err := result.RowsAffected(); err != nil || n == 0 {
			return err
		}
		raised = true
		_, err = c.queueNotice(ctx, "", 0, NewNotice{Kind: notice.Broken, Rank: notice.FollowUp, Urgent: true, Content: content})
		return err
	})
	return raised && err == nil, err
}

// ResendNotice has every message of a notice sent once more, under the ids they had. A notice that has none is placed anew.
func (db *DB) ResendNotice(ctx context.Context, actor Actor, id, reason string) error {
	if reason == "" {
		return fmt.Errorf("%w: sending again wants a reason", ErrInvalid)
	}
	return db.change(ctx, actor, func(c *change) error {
		result, err := c.ExecContext(ctx, `UPDATE notice_message SET state = 'waiting', due_at = $2, error = ''
			WHERE id IN (SELECT message_id FROM notice_in_message WHERE notice_id = $1)`, id, at(db.now()))
		if err != nil {
			return fmt.Errorf("send again: %w", err)
		}
		n, err := result.RowsAffected()
		if err != nil {
			return err
		}
		if n == 0 {
			if err := c.one(ctx, "place notice again", `UPDATE notice SET state = 'queued', due_at = $2 WHERE id = $1`, id, at(db.now())); err != nil {
				return err
			}
		}
		return c.note(ctx, audit.Record{Action: "notice.resend", Object: id, Reason: reason})
	})
}

// queueWith queues the notice of a version that was just written, with what is asked about its case now.
func (c *change) queueWith(ctx context.Context, v Version) error {
	if v.Notice == nil {
		return nil
	}
	var content notice.Content
	if err := json.Unmarshal(v.Notice.Content, &content); err != nil {
		return fmt.Errorf("read notice: %w", err)
	}
	asked, err := c.asksOfCase(ctx, v.Case.ID)
	if err != nil {
		return err
	}
	content.Asks = []ask.Ask{}
	for _, a := range asked {
		if a.State == ask.Open {
			content.Asks = append(content.Asks, a.Ask)
		}
	}
	queued := *v.Notice
	if queued.Content, err = json.Marshal(content); err != nil {
		return fmt.Errorf("write notice: %w", err)
	}
	_, err = c.queueNotice(ctx, v.Case.ID, v.Number, queued)
	crashpoint.Reached(crashpoint.NoticeQueued)
	return err
}

// NoticesWaiting counts the notices that are not handed to messages, and the messages that are due or were tried and wait.
func (db *DB) NoticesWaiting(ctx context.Context) (n int, err error) {
	err = db.read.QueryRowContext(ctx, `SELECT (SELECT COUNT(*) FROM notice WHERE state = 'queued') +
		(SELECT COUNT(*) FROM notice_message WHERE state = 'waiting' AND (due_at <= $1 OR attempts > 0))`, at(db.now())).Scan(&n)
	return n, kind(err)
}
