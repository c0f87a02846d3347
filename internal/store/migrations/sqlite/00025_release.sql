-- +goose Up
-- What leaves the department without persons, places and days: who asked for it, who else approved it, what left, to whom. A
-- recipient's key makes its pseudonyms; a revoked one is gone, and nothing can be joined with what was made by it.
CREATE TABLE release_recipient (
  id             TEXT PRIMARY KEY,
  name           TEXT NOT NULL,
  secret         TEXT NOT NULL,
  made_by        TEXT NOT NULL,
  made_at        TEXT NOT NULL,
  revoked_by     TEXT NOT NULL DEFAULT '',
  revoked_at     TEXT NOT NULL DEFAULT '',
  revoked_reason TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE UNIQUE INDEX release_recipient_now ON release_recipient (name) WHERE revoked_at = '';

CREATE TABLE release (
  id             TEXT PRIMARY KEY,
  recipient_id   TEXT NOT NULL REFERENCES release_recipient (id),
  state          TEXT NOT NULL,
  wanted         TEXT NOT NULL,
  asked_by       TEXT NOT NULL,
  asked_at       TEXT NOT NULL,
  decided_by     TEXT NOT NULL DEFAULT '',
  decided_at     TEXT NOT NULL DEFAULT '',
  decided_reason TEXT NOT NULL DEFAULT '',
  made_by        TEXT NOT NULL DEFAULT '',
  made_at        TEXT NOT NULL DEFAULT '',
  digest         TEXT NOT NULL DEFAULT '',
  size           INTEGER NOT NULL DEFAULT 0,
  reports        INTEGER NOT NULL DEFAULT 0,
  procedures     INTEGER NOT NULL DEFAULT 0,
  patients       INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX release_by_time ON release (asked_at, id);
CREATE INDEX release_digest ON release (digest) WHERE digest <> '';

-- Which procedures of which patients left, and in which version.
CREATE TABLE release_procedure (
  release_id   TEXT NOT NULL REFERENCES release (id),
  procedure_id TEXT NOT NULL REFERENCES procedure_case (id),
  patient_id   TEXT NOT NULL REFERENCES patient (id),
  version      INTEGER NOT NULL,
  PRIMARY KEY (release_id, procedure_id)
) STRICT, WITHOUT ROWID;
CREATE INDEX release_of_patient ON release_procedure (patient_id, release_id);

-- +goose Down
DROP TABLE release_procedure;
DROP TABLE release;
DROP TABLE release_recipient;
