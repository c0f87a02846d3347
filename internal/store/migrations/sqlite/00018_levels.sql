-- +goose Up
-- Sets of follow-up levels as a site had them: drafted by one person, approved by another. One at most is in force; without
-- one it is the set of the settings. Rows are never changed but in how they stand.
CREATE TABLE level_set (
  id             TEXT PRIMARY KEY,
  version        INTEGER NOT NULL UNIQUE,
  state          TEXT NOT NULL,
  body           TEXT NOT NULL,
  plain_kap      INTEGER NOT NULL,
  reason         TEXT NOT NULL,
  author         TEXT NOT NULL,
  made_at        TEXT NOT NULL,
  decided_by     TEXT NOT NULL DEFAULT '',
  decided_at     TEXT NOT NULL DEFAULT '',
  decided_reason TEXT NOT NULL DEFAULT '',
  recomputation  TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE UNIQUE INDEX level_set_in_force ON level_set (state) WHERE state = 'in force';

-- +goose Down
DROP TABLE level_set;
