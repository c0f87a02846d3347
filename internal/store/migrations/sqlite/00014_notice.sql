-- +goose Up
-- What is to be told of a case, queued in the transaction of the version that it is about. A notice about notices has no case.
CREATE TABLE notice (
  id           TEXT PRIMARY KEY,
  procedure_id TEXT REFERENCES procedure_case (id),
  version      INTEGER NOT NULL,
  kind         TEXT NOT NULL,
  rank         INTEGER NOT NULL,
  urgent       INTEGER NOT NULL,
  content      TEXT NOT NULL,
  state        TEXT NOT NULL CHECK (state IN ('queued', 'placed')),
  problem      TEXT NOT NULL DEFAULT '',
  due_at       TEXT NOT NULL,
  created_at   TEXT NOT NULL
) STRICT;
CREATE INDEX notice_state ON notice (state, due_at);
CREATE INDEX notice_case ON notice (procedure_id, created_at);

-- A message to one account by one channel: one notice, or several of a digest. Its id is the same in every repeat.
CREATE TABLE notice_message (
  id         TEXT PRIMARY KEY,
  account_id TEXT NOT NULL REFERENCES account (id),
  channel    TEXT NOT NULL,
  digest     INTEGER NOT NULL,
  urgent     INTEGER NOT NULL,
  state      TEXT NOT NULL CHECK (state IN ('waiting', 'sent', 'failed')),
  due_at     TEXT NOT NULL,
  attempts   INTEGER NOT NULL DEFAULT 0,
  error      TEXT NOT NULL DEFAULT '',
  created_at TEXT NOT NULL,
  sent_at    TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX notice_message_due ON notice_message (channel, state, due_at);

CREATE TABLE notice_in_message (
  message_id TEXT NOT NULL REFERENCES notice_message (id),
  notice_id  TEXT NOT NULL REFERENCES notice (id),
  PRIMARY KEY (message_id, notice_id)
) STRICT;
CREATE INDEX notice_in_message_notice ON notice_in_message (notice_id);

-- Who was told what and when: written before each try and ended after it. One that was never ended may have been delivered.
CREATE TABLE notice_attempt (
  id         INTEGER PRIMARY KEY,
  message_id TEXT NOT NULL REFERENCES notice_message (id),
  repeat     INTEGER NOT NULL,
  begun_at   TEXT NOT NULL,
  ended_at   TEXT NOT NULL DEFAULT '',
  outcome    TEXT NOT NULL CHECK (outcome IN ('begun', 'sent', 'not sent', 'unsure', 'refused')),
  error      TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX notice_attempt_message ON notice_attempt (message_id, id);

-- How a channel does; the empty name stands for notices that have nobody to go to.
CREATE TABLE notice_channel (
  channel      TEXT PRIMARY KEY,
  failing_from TEXT NOT NULL DEFAULT '',
  error        TEXT NOT NULL DEFAULT '',
  alarm_at     TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TABLE notice_preference (
  account_id TEXT PRIMARY KEY REFERENCES account (id),
  body       TEXT NOT NULL,
  changed_by TEXT NOT NULL,
  changed_at TEXT NOT NULL
) STRICT;

-- Who has seen which estimate of a case.
CREATE TABLE acknowledgement (
  procedure_id TEXT NOT NULL REFERENCES procedure_case (id),
  account_id   TEXT NOT NULL REFERENCES account (id),
  version      INTEGER NOT NULL,
  made_at      TEXT NOT NULL,
  PRIMARY KEY (procedure_id, account_id, version)
) STRICT;

-- +goose Down
DROP TABLE acknowledgement;
DROP TABLE notice_preference;
DROP TABLE notice_channel;
DROP TABLE notice_attempt;
DROP TABLE notice_in_message;
DROP TABLE notice_message;
DROP TABLE notice;
