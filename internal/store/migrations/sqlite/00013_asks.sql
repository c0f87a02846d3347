-- +goose Up
-- What a flag says of its level besides: what reaching it prompts, the name of its scheme, how its value was estimated, and how
-- many steps of a stepped level the value passed.
ALTER TABLE flag ADD COLUMN meaning TEXT NOT NULL DEFAULT '';
ALTER TABLE flag ADD COLUMN title TEXT NOT NULL DEFAULT '';
ALTER TABLE flag ADD COLUMN method TEXT NOT NULL DEFAULT '';
ALTER TABLE flag ADD COLUMN passed INTEGER NOT NULL DEFAULT 0;
ALTER TABLE procedure_case ADD COLUMN pregnant INTEGER NOT NULL DEFAULT 0;

-- A flag that was reached, through all versions of its case: open, settled by a person, or superseded. scope_key stays the same
-- when a window comes to hold more procedures.
CREATE TABLE raised_flag (
  id              TEXT PRIMARY KEY,
  procedure_id    TEXT NOT NULL REFERENCES procedure_case (id),
  scope_key       TEXT NOT NULL,
  scheme          TEXT NOT NULL,
  level_id        TEXT NOT NULL,
  scope           TEXT NOT NULL,
  title           TEXT NOT NULL,
  meaning         TEXT NOT NULL,
  quantity        TEXT NOT NULL,
  state           TEXT NOT NULL,
  value           REAL,
  level           REAL,
  text            TEXT NOT NULL,
  raised_at       TEXT NOT NULL,
  raised_version  INTEGER NOT NULL,
  reached_version INTEGER NOT NULL,
  why             TEXT NOT NULL,
  settled_value   REAL,
  UNIQUE (procedure_id, scope_key, scheme, level_id)
) STRICT;
CREATE INDEX raised_flag_state ON raised_flag (state, raised_at);

-- What happened to it; rows are only ever added.
CREATE TABLE raised_flag_event (
  flag_id  TEXT NOT NULL REFERENCES raised_flag (id),
  sequence INTEGER NOT NULL,
  event    TEXT NOT NULL,
  made_at  TEXT NOT NULL,
  actor    TEXT NOT NULL,
  role     TEXT NOT NULL,
  version  INTEGER NOT NULL,
  value    REAL,
  level    REAL,
  ground   TEXT NOT NULL,
  reason   TEXT NOT NULL,
  PRIMARY KEY (flag_id, sequence)
) STRICT;

-- What is asked of somebody about a case; one of a slot. rung is the last step of the ladder that it came to.
CREATE TABLE ask (
  id           TEXT PRIMARY KEY,
  procedure_id TEXT NOT NULL REFERENCES procedure_case (id),
  slot         TEXT NOT NULL,
  kind         TEXT NOT NULL,
  owner        TEXT NOT NULL,
  person       TEXT NOT NULL,
  from_day     TEXT NOT NULL,
  due_day      TEXT NOT NULL,
  text         TEXT NOT NULL,
  state        TEXT NOT NULL,
  holds        INTEGER NOT NULL,
  rung         INTEGER NOT NULL,
  source       TEXT NOT NULL,
  known        TEXT NOT NULL,
  made_at      TEXT NOT NULL,
  version      INTEGER NOT NULL,
  UNIQUE (procedure_id, slot)
) STRICT;
CREATE INDEX ask_state ON ask (state, due_day, id);
CREATE INDEX ask_person ON ask (person, state);

-- The flags that an ask rests on.
CREATE TABLE ask_flag (
  ask_id  TEXT NOT NULL REFERENCES ask (id),
  flag_id TEXT NOT NULL REFERENCES raised_flag (id),
  PRIMARY KEY (ask_id, flag_id)
) STRICT;
CREATE INDEX ask_flag_flag ON ask_flag (flag_id);

-- What happened to it, answers among them; rows are only ever added.
CREATE TABLE ask_event (
  ask_id   TEXT NOT NULL REFERENCES ask (id),
  sequence INTEGER NOT NULL,
  event    TEXT NOT NULL,
  made_at  TEXT NOT NULL,
  actor    TEXT NOT NULL,
  role     TEXT NOT NULL,
  version  INTEGER NOT NULL,
  person   TEXT NOT NULL,
  from_day TEXT NOT NULL,
  due_day  TEXT NOT NULL,
  reason   TEXT NOT NULL,
  outcome  TEXT NOT NULL DEFAULT '',
  day      TEXT NOT NULL DEFAULT '',
  grade    REAL,
  place    TEXT NOT NULL DEFAULT '',
  picture  TEXT NOT NULL DEFAULT '',
  note     TEXT NOT NULL DEFAULT '',
  final    INTEGER NOT NULL DEFAULT 0,
  PRIMARY KEY (ask_id, sequence)
) STRICT;

-- Estimates of the peak skin dose that a physicist made beside the computed one; rows are only ever added.
CREATE TABLE own_estimate (
  id           TEXT PRIMARY KEY,
  procedure_id TEXT NOT NULL REFERENCES procedure_case (id),
  sequence     INTEGER NOT NULL,
  version      INTEGER NOT NULL,
  value_gy     REAL NOT NULL,
  low_gy       REAL NOT NULL,
  high_gy      REAL NOT NULL,
  place        TEXT NOT NULL,
  method       TEXT NOT NULL,
  reason       TEXT NOT NULL,
  author       TEXT NOT NULL,
  made_at      TEXT NOT NULL,
  UNIQUE (procedure_id, sequence)
) STRICT;

-- +goose Down
DROP TABLE own_estimate;
DROP TABLE ask_event;
DROP TABLE ask_flag;
DROP TABLE ask;
DROP TABLE raised_flag_event;
DROP TABLE raised_flag;
ALTER TABLE procedure_case DROP COLUMN pregnant;
ALTER TABLE flag DROP COLUMN passed;
ALTER TABLE flag DROP COLUMN method;
ALTER TABLE flag DROP COLUMN title;
ALTER TABLE flag DROP COLUMN meaning;
