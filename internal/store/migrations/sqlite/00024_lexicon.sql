-- +goose Up
-- What a site calls its procedures. A version holds the site's own rows, which stand over the table of the settings; one at
-- most is in force. Rows of lexicon_version are never changed but in how they stand.
CREATE TABLE lexicon_version (
  id             TEXT PRIMARY KEY,
  version        INTEGER NOT NULL UNIQUE,
  base           INTEGER NOT NULL,
  state          TEXT NOT NULL,
  body           TEXT NOT NULL,
  reason         TEXT NOT NULL,
  author         TEXT NOT NULL,
  made_at        TEXT NOT NULL,
  decided_by     TEXT NOT NULL DEFAULT '',
  decided_at     TEXT NOT NULL DEFAULT '',
  decided_reason TEXT NOT NULL DEFAULT '',
  recomputation  TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE UNIQUE INDEX lexicon_version_in_force ON lexicon_version (state) WHERE state = 'in force';

-- What cases are called, each combination of names once: codes, descriptions and protocol names, nothing of the patient.
CREATE TABLE name_set (
  id   TEXT PRIMARY KEY,
  body TEXT NOT NULL
) STRICT;
CREATE TABLE procedure_names (
  procedure_id TEXT PRIMARY KEY REFERENCES procedure_case (id),
  name_set_id  TEXT NOT NULL REFERENCES name_set (id)
) STRICT, WITHOUT ROWID;
CREATE INDEX procedure_names_set ON procedure_names (name_set_id);

-- +goose Down
DROP TABLE procedure_names;
DROP TABLE name_set;
DROP TABLE lexicon_version;
