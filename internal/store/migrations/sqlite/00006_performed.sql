-- +goose Up
CREATE TABLE performed_import (
  id        TEXT PRIMARY KEY,
  digest    TEXT NOT NULL DEFAULT '',
  made_by   TEXT NOT NULL,
  made_at   TEXT NOT NULL,
  ended_at  TEXT NOT NULL DEFAULT '',
  added     INTEGER NOT NULL DEFAULT 0,
  changed   INTEGER NOT NULL DEFAULT 0,
  same      INTEGER NOT NULL DEFAULT 0,
  refused   INTEGER NOT NULL DEFAULT 0
) STRICT;

CREATE TABLE performed_step (
  id         TEXT PRIMARY KEY,
  source     TEXT NOT NULL CHECK (source IN ('csv', 'mpps')),
  key        TEXT NOT NULL,
  version    INTEGER NOT NULL,
  study_uid  TEXT NOT NULL,
  accession  TEXT NOT NULL,
  state      TEXT NOT NULL,
  excluded   TEXT NOT NULL,
  start_at   TEXT NOT NULL,
  local_date TEXT NOT NULL,
  room       TEXT NOT NULL,
  has_totals INTEGER NOT NULL,
  updated_at TEXT NOT NULL,
  UNIQUE (source, key)
) STRICT;
CREATE INDEX performed_step_study ON performed_step (study_uid);
CREATE INDEX performed_step_accession ON performed_step (accession);
CREATE INDEX performed_step_start ON performed_step (start_at, id);
CREATE INDEX performed_step_date ON performed_step (local_date);

-- Everything that a step ever said, without the patient's identity; never updated.
CREATE TABLE performed_version (
  step_id   TEXT NOT NULL REFERENCES performed_step (id),
  version   INTEGER NOT NULL,
  made_by   TEXT NOT NULL,
  made_at   TEXT NOT NULL,
  import_id TEXT NOT NULL,
  line      INTEGER NOT NULL,
  digest    TEXT NOT NULL,
  body      TEXT NOT NULL,
  PRIMARY KEY (step_id, version)
) STRICT;

-- Whom a step names, apart from what it says, so that erasing a row leaves the rest without an identity.
CREATE TABLE performed_identity (
  step_id    TEXT NOT NULL REFERENCES performed_step (id),
  version    INTEGER NOT NULL,
  number     TEXT NOT NULL,
  issuer     TEXT NOT NULL,
  name       TEXT NOT NULL,
  birth_date TEXT NOT NULL,
  sex        TEXT NOT NULL,
  PRIMARY KEY (step_id, version)
) STRICT;
CREATE INDEX performed_identity_number ON performed_identity (number, issuer);

CREATE TABLE performed_person (
  step_id   TEXT NOT NULL REFERENCES performed_step (id),
  person_id TEXT NOT NULL REFERENCES person (id),
  role      TEXT NOT NULL,
  PRIMARY KEY (step_id, person_id, role)
) STRICT;
CREATE INDEX performed_person_person ON performed_person (person_id, step_id);

ALTER TABLE procedure_case ADD COLUMN accession TEXT NOT NULL DEFAULT '';
-- What a case is made of: a dose report where nothing is said, or the totals of a performed step alone.
ALTER TABLE procedure_case ADD COLUMN basis TEXT NOT NULL DEFAULT '';
CREATE INDEX procedure_case_accession ON procedure_case (accession);

-- +goose Down
DROP INDEX procedure_case_accession;
ALTER TABLE procedure_case DROP COLUMN basis;
ALTER TABLE procedure_case DROP COLUMN accession;
DROP TABLE performed_person;
DROP TABLE performed_identity;
DROP TABLE performed_version;
DROP TABLE performed_step;
DROP TABLE performed_import;
