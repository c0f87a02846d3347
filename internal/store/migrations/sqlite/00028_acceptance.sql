-- +goose Up
-- Comparisons of what consoles showed with what the service made of the reports. Rows are never changed but by a signature.
CREATE TABLE acceptance (
  id          TEXT PRIMARY KEY,
  made_at     TEXT NOT NULL,
  made_by     TEXT NOT NULL,
  reason      TEXT NOT NULL,
  tolerance   REAL NOT NULL,
  rows        TEXT NOT NULL,
  all_agree   INTEGER NOT NULL,
  signed_at   TEXT NOT NULL DEFAULT '',
  signed_by   TEXT NOT NULL DEFAULT '',
  sign_reason TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX acceptance_made ON acceptance (made_at, id);

-- +goose Down
DROP TABLE acceptance;
