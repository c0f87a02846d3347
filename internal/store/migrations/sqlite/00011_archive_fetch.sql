-- +goose Up
-- What an archive was asked for: the days that were searched, and each dose report that it named.
CREATE TABLE archive_day (
  archive     TEXT NOT NULL,
  day         TEXT NOT NULL,
  studies     INTEGER NOT NULL,
  passed      INTEGER NOT NULL,
  problem     TEXT NOT NULL,
  searched_at TEXT NOT NULL,
  PRIMARY KEY (archive, day)
) STRICT;
CREATE TABLE archive_object (
  archive      TEXT NOT NULL,
  sop_instance TEXT NOT NULL,
  sop_class    TEXT NOT NULL,
  series_uid   TEXT NOT NULL,
  study_uid    TEXT NOT NULL,
  day          TEXT NOT NULL,
  state        TEXT NOT NULL CHECK (state IN ('known', 'got', 'failed')),
  attempts     INTEGER NOT NULL DEFAULT 0,
  status       TEXT NOT NULL DEFAULT '',
  reason       TEXT NOT NULL DEFAULT '',
  tried_at     TEXT NOT NULL DEFAULT '',
  PRIMARY KEY (archive, sop_instance)
) STRICT;
CREATE INDEX archive_object_lacking ON archive_object (archive, day, sop_instance) WHERE state <> 'got';

-- +goose Down
DROP TABLE archive_object;
DROP TABLE archive_day;
