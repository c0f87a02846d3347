package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"afterbeam/internal/audit"
)

// The states of a message.
const (
	MessageWaiting = "waiting"
	MessageSent    = "sent"
	MessageFailed  = "failed" // the channel will not take it
)

// Message is one message to one account by one channel.
type Message struct {
	ID               string
	Account, Channel string
	Digest, Urgent   bool
	State            string
	DueAt            time.Time
	Attempts         int
	Error            string
	CreatedAt        time.Time
	SentAt           time.Time // the first time, the zero time before
	// Notices are the references in it, in order of their making.
	Notices []string
}

const messageColumns = `m.id, m.account_id, m.channel, m.digest, m.urgent, m.state, m.due_at, m.attempts, m.error, m.created_at, m.sent_at`

func messageRow(r *sql.Rows) (Message, error) {
	var m Message
	var due, made, sent dbTime
	err := r.Scan(&m.ID, &m.Account, &m.Channel, &m.Digest, &m.Urgent, &m.State, &due, &m.Attempts, &m.Error, &made, &sent)
	m.DueAt, m.CreatedAt, m.SentAt = due.Time, made.Time, sent.Time
	return m, kind(err)
}

// MessagesDue lists the messages of a channel that are due, urgent ones first, then the oldest. Of those to one account that
// were tried already the oldest alone is in it, so that they arrive in order.
func (db *DB) MessagesDue(ctx context.Context, channel string, limit int) ([]Message, error) {
	var all []Message
	err := db.snapshot(ctx, func(q querier) (err error) {
		all, err = rows(ctx, q, messageRow, `SELECT `+messageColumns+` FROM notice_message m WHERE m.channel = $1 AND m.state = 'waiting' AND m.due_at <= $2
			AND NOT EXISTS (SELECT 1 FROM notice_message o WHERE o.channel = m.channel AND o.state = 'waiting' AND o.account_id = m.account_id AND o.attempts > 0
				AND m.urgent <= o.urgent AND (o.created_at, o.id) < (m.created_at, m.id))
			ORDER BY m.urgent DESC, m.created_at, m.id LIMIT $3`, channel, at(db.now()), limit)
		if err != nil {
			return err
		}
		return withNotices(ctx, q, all)
	})
	return all, err
}

func withNotices(ctx context.Context, q querier, all []Message) (err error) {
	for i := range all {
		all[i].Notices, err = rows(ctx, q, func(r *sql.Rows) (string, error) {
			var id string
			err := r.Scan(&id)
			return id, err
		}, `SELECT n.id FROM notice_in_message i JOIN notice n ON n.id = i.notice_id WHERE i.message_id = $1 ORDER BY n.created_at, n.id`, all[i].ID)
		if err != nil {
			return err
		}
	}
	return nil
}

// MessagesOf lists the messages that hold a notice, the oldest first.
func (db *DB) MessagesOf(ctx context.Context, noticeID string) ([]Message, error) {
	var all []Message
	err := db.snapshot(ctx, func(q querier) (err error) {
		all, err = rows(ctx, q, messageRow, `SELECT `+messageColumns+` FROM notice_message m JOIN notice_in_message i ON i.message_id = m.id
			WHERE i.notice_id = $1 ORDER BY m.created_at, m.id`, noticeID)
		if err != nil {
			return err
		}
		return withNotices(ctx, q, all)
	})
	return all, err
}

// Ending is what became of one try to send a message.
type Ending string

// The endings. EndingBegun is a try of which nothing more is known, because the process ended.
const (
	EndingBegun   Ending = "begun"
	EndingSent    Ending = "sent"
	EndingNotSent Ending = "not sent"
	EndingUnsure  Ending = "unsure"
	EndingRefused Ending = "refused"
)

// Attempt is one try to send a message.
type Attempt struct {
	ID        int64
	MessageID string
	// Repeat tells that the message may have been delivered by an earlier try, and that it said so.
	Repeat  bool
	BegunAt time.Time
	EndedAt time.Time
	Outcome Ending
	Error   string
}

// BeginAttempt writes down that a message is about to be sent. The try is a repeat when an earlier one may have delivered it.
func (db *DB) BeginAttempt(ctx context.Context, message string) (a Attempt, err error) {
	a = Attempt{MessageID: message, BegunAt: db.now().UTC().Truncate(time.Microsecond), Outcome: EndingBegun}
	err = db.change(ctx, System("notices"), func(c *change) error {
		if err := c.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM notice_attempt WHERE message_id = $1 AND outcome IN ('begun', 'sent', 'unsure'))`, message).Scan(&a.Repeat); err != nil {
			return err
		}
		if err := c.one(ctx, "begin sending", `UPDATE notice_message SET attempts = attempts + 1 WHERE id = $1 AND state = 'waiting'`, message); err != nil {
			return err
		}
		return c.QueryRowContext(ctx, `INSERT INTO notice_attempt (message_id, repeat, begun_at, outcome) VALUES ($1, $2, $3, 'begun') RETURNING id`,
			message, a.Repeat, at(a.BegunAt)).Scan(&a.ID)
	})
	return a, err
}

// EndAttempt writes down what became of a try, and when the message is to be tried again when it was not sent. A channel that
// takes a message is well again.
func (db *DB) EndAttempt(ctx context.Context, m Message, a Attempt, outcome Ending, reason string, again time.Time) error {
	return db.change(ctx, System("notices"), func(c *change) error {
		now := at(db.now())
		if err := c.one(ctx, "end sending", `UPDATE notice_attempt SET outcome = $2, error = $3, ended_at = $4 WHERE id = $1`, a.ID, outcome, reason, now); err != nil {
			return err
		}
		state, due := MessageWaiting, again
		switch outcome {
		case EndingSent:
			state, due = MessageSent, db.now()
		case EndingRefused:
			state, due = MessageFailed, db.now()
		case EndingBegun, EndingNotSent, EndingUnsure:
		}
		if err := c.one(ctx, "end sending", `UPDATE notice_message SET state = $2, due_at = $3, error = $4,
			sent_at = CASE WHEN $2 = 'sent' AND sent_at = '' THEN $5 ELSE sent_at END WHERE id = $1`, m.ID, state, at(due), reason, now); err != nil {
			return err
		}
		if err := c.channelDid(ctx, m.Channel, outcome, reason); err != nil {
			return err
		}
		if state == MessageWaiting {
			return nil // tried again; the attempts stand in their own table
		}
		r := audit.Record{Action: "notice.send", Object: m.ID, After: m.Channel + " to " + m.Account, Reason: reason}
		if state == MessageFailed {
			r.Outcome = "failed"
		}
		return c.note(ctx, r)
	})
}

// channelDid notes how a channel does.
func (c *change) channelDid(ctx context.Context, channel string, outcome Ending, reason string) error {
	failing := c.db.now()
	if outcome == EndingSent {
		failing, reason = time.Time{}, ""
	}
	_, err := c.ExecContext(ctx, `INSERT INTO notice_channel (channel, failing_from, error) VALUES ($1, $2, $3)
		ON CONFLICT (channel) DO UPDATE SET error = $3,
		failing_from = CASE WHEN $2 = '' OR notice_channel.failing_from = '' THEN $2 ELSE notice_channel.failing_from END,
		alarm_at = CASE WHEN $2 = '' THEN '' ELSE notice_channel.alarm_at END`, channel, at(failing), reason)
	if err != nil {
		return fmt.Errorf("note channel: %w", err)
	}
	return nil
}

// Attempts lists the tries to send a message, the oldest first.
func (db *DB) Attempts(ctx context.Context, message string) ([]Attempt, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Attempt, error) {
		var a Attempt
		var begun, ended dbTime
		err := r.Scan(&a.ID, &a.MessageID, &a.Repeat, &begun, &ended, &a.Outcome, &a.Error)
		a.BegunAt, a.EndedAt = begun.Time, ended.Time
		return a, err
	}, `SELECT id, message_id, repeat, begun_at, ended_at, outcome, error FROM notice_attempt WHERE message_id = $1 ORDER BY id`, message)
}

// ChannelState is how a channel does.
type ChannelState struct {
	Channel     string // "" stands for notices that have nobody to go to
	FailingFrom time.Time
	Error       string
	AlarmAt     time.Time
	// Waiting are messages that are due or were tried; Failed those it will not take. Oldest is when the oldest waiting one was
	// made.
	Waiting, Failed int
	Oldest          time.Time
}

// ChannelStates lists how every channel that was ever used does, and what waits.
func (db *DB) ChannelStates(ctx context.Context) ([]ChannelState, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (ChannelState, error) {
		var s ChannelState
		var failing, alarm, oldest dbTime
		err := r.Scan(&s.Channel, &failing, &s.Error, &alarm, &s.Waiting, &s.Failed, &oldest)
		s.FailingFrom, s.AlarmAt, s.Oldest = failing.Time, alarm.Time, oldest.Time
		return s, err
	}, `SELECT ch.channel, COALESCE(k.failing_from, ''), COALESCE(k.error, ''), COALESCE(k.alarm_at, ''), ch.waiting, ch.failed, ch.oldest FROM (
			SELECT channel, COUNT(CASE WHEN state = 'waiting' AND (due_at <= $1 OR attempts > 0) THEN 1 END) AS waiting, COUNT(CASE WHEN state = 'failed' THEN 1 END) AS failed,
				COALESCE(MIN(CASE WHEN state = 'waiting' AND (due_at <= $1 OR attempts > 0) THEN created_at END), '') AS oldest FROM notice_message GROUP BY channel
			UNION ALL SELECT '', COUNT(*), 0, COALESCE(MIN(created_at), '') FROM notice WHERE state = 'queued' AND problem <> '') AS ch
		LEFT JOIN notice_channel k ON k.channel = ch.channel ORDER BY ch.channel`, at(db.now()))
}
