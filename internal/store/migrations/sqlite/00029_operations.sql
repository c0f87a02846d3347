-- +goose Up
-- What is done for the store itself: backups, restore drills, checks of the audit chain, retention. One row a run; a run without an end
-- was broken off.
CREATE TABLE upkeep (
  id       INTEGER PRIMARY KEY,
  kind     TEXT NOT NULL,
  begun_at TEXT NOT NULL,
  ended_at TEXT NOT NULL DEFAULT '',
  outcome  TEXT NOT NULL CHECK (outcome IN ('begun', 'sound', 'failed')),
  detail   TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX upkeep_kind ON upkeep (kind, id);

-- A legal hold: while one is in force, retention removes nothing of the patient; without a patient, nothing at all.
CREATE TABLE hold (
  id         TEXT PRIMARY KEY,
  patient_id TEXT REFERENCES patient (id),
  reason     TEXT NOT NULL,
  made_by    TEXT NOT NULL,
  made_at    TEXT NOT NULL,
  ended_by   TEXT NOT NULL DEFAULT '',
  ended_at   TEXT NOT NULL DEFAULT '',
  end_reason TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX hold_patient ON hold (patient_id, ended_at);
CREATE INDEX procedure_version_made ON procedure_version (made_at);

-- +goose Down
DROP INDEX procedure_version_made;
DROP TABLE hold;
DROP TABLE upkeep;
