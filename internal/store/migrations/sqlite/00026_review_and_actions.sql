-- +goose Up
-- What colleagues found of a case; rows are only ever added, and the newest holds. No dose alone makes one.
CREATE TABLE peer_review (
  procedure_id TEXT NOT NULL REFERENCES procedure_case (id),
  sequence     INTEGER NOT NULL,
  state        TEXT NOT NULL CHECK (state IN ('pending', 'appropriate', 'opportunity', 'not-appropriate')),
  reason       TEXT NOT NULL,
  version      INTEGER NOT NULL,
  author       TEXT NOT NULL,
  role         TEXT NOT NULL,
  day          TEXT NOT NULL,
  made_at      TEXT NOT NULL,
  PRIMARY KEY (procedure_id, sequence)
) STRICT;

-- What people agreed to do when they looked at a period, carried on until it is closed. room is '' for the whole site.
CREATE TABLE period_action (
  id        TEXT PRIMARY KEY,
  period    TEXT NOT NULL,
  room      TEXT NOT NULL,
  text      TEXT NOT NULL,
  owner     TEXT NOT NULL,
  opened_on TEXT NOT NULL,
  due_on    TEXT NOT NULL,
  closed_on TEXT NOT NULL DEFAULT '',
  outcome   TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX period_action_open ON period_action (closed_on, opened_on, id);

-- What happened to it; rows are only ever added.
CREATE TABLE period_action_event (
  action_id TEXT NOT NULL REFERENCES period_action (id),
  sequence  INTEGER NOT NULL,
  event     TEXT NOT NULL CHECK (event IN ('agreed', 'noted', 'moved', 'closed', 'reopened')),
  text      TEXT NOT NULL,
  due_on    TEXT NOT NULL,
  actor     TEXT NOT NULL,
  role      TEXT NOT NULL,
  made_at   TEXT NOT NULL,
  PRIMARY KEY (action_id, sequence)
) STRICT;

-- What the limits of control charts rest on since somebody froze it; one of a chart in force at a time, ended ones stay.
CREATE TABLE chart_baseline (
  id         TEXT PRIMARY KEY,
  chart      TEXT NOT NULL,
  body       TEXT NOT NULL,
  reason     TEXT NOT NULL,
  frozen_by  TEXT NOT NULL,
  frozen_on  TEXT NOT NULL,
  frozen_at  TEXT NOT NULL,
  ended_by   TEXT NOT NULL DEFAULT '',
  ended_at   TEXT NOT NULL DEFAULT '',
  end_reason TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE UNIQUE INDEX chart_baseline_in_force ON chart_baseline (chart) WHERE ended_at = '';

-- +goose Down
DROP TABLE chart_baseline;
DROP TABLE period_action_event;
DROP TABLE period_action;
DROP TABLE peer_review;
