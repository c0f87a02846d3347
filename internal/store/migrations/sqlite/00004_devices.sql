-- +goose Up
-- Equipment as the reports name it. Days are local days of irradiation. The words are those of the report with the newest
-- content.
CREATE TABLE device (
  id           TEXT PRIMARY KEY,
  device_key   TEXT NOT NULL UNIQUE,
  uid          TEXT NOT NULL DEFAULT '',
  name         TEXT NOT NULL DEFAULT '',
  manufacturer TEXT NOT NULL DEFAULT '',
  model        TEXT NOT NULL DEFAULT '',
  serial       TEXT NOT NULL DEFAULT '',
  station      TEXT NOT NULL DEFAULT '',
  room         TEXT NOT NULL DEFAULT '',
  software     TEXT NOT NULL DEFAULT '',
  described_at TEXT NOT NULL DEFAULT '',
  reports      INTEGER NOT NULL DEFAULT 0,
  first_day    TEXT NOT NULL DEFAULT '',
  last_day     TEXT NOT NULL DEFAULT '',
  first_received_at TEXT NOT NULL DEFAULT '',
  last_received_at  TEXT NOT NULL DEFAULT ''
) STRICT;

-- Rooms and software versions, each with the days on which it was first and last seen.
CREATE TABLE device_seen (
  device_id TEXT NOT NULL REFERENCES device (id),
  aspect    TEXT NOT NULL CHECK (aspect IN ('room', 'software')),
  value     TEXT NOT NULL,
  first_day TEXT NOT NULL,
  last_day  TEXT NOT NULL,
  reports   INTEGER NOT NULL,
  PRIMARY KEY (device_id, aspect, value)
) STRICT;

CREATE TABLE device_day (
  device_id TEXT NOT NULL REFERENCES device (id),
  day       TEXT NOT NULL,
  reports   INTEGER NOT NULL,
  PRIMARY KEY (device_id, day)
) STRICT;

-- What people wrote about a device from a day on. Content is never changed; signing adds who signed.
CREATE TABLE device_profile (
  device_id   TEXT NOT NULL REFERENCES device (id),
  version     INTEGER NOT NULL,
  valid_from  TEXT NOT NULL,
  state       TEXT NOT NULL CHECK (state IN ('draft', 'signed')),
  body        TEXT NOT NULL,
  digest      TEXT NOT NULL,
  origin      TEXT NOT NULL,
  drafted_by  TEXT NOT NULL,
  drafter     TEXT NOT NULL,
  drafted_at  TEXT NOT NULL,
  reason      TEXT NOT NULL,
  signed_by   TEXT NOT NULL DEFAULT '',
  signer      TEXT NOT NULL DEFAULT '',
  signed_at   TEXT NOT NULL DEFAULT '',
  sign_reason TEXT NOT NULL DEFAULT '',
  PRIMARY KEY (device_id, version)
) STRICT;
CREATE INDEX device_profile_digest ON device_profile (device_id, digest);

-- Estimating anew, wholly or for one device and a span of days, and how far it has come.
CREATE TABLE recomputation (
  id         TEXT PRIMARY KEY,
  device_id  TEXT NOT NULL,
  from_day   TEXT NOT NULL,
  to_day     TEXT NOT NULL,
  reason     TEXT NOT NULL,
  asked_by   TEXT NOT NULL,
  asked_at   TEXT NOT NULL
) STRICT;
CREATE INDEX recomputation_asked ON recomputation (asked_at, id);

CREATE TABLE recomputation_study (
  recomputation_id TEXT NOT NULL REFERENCES recomputation (id),
  study_uid        TEXT NOT NULL,
  state            TEXT NOT NULL CHECK (state IN ('waiting', 'done', 'failed')),
  done_at          TEXT NOT NULL DEFAULT '',
  PRIMARY KEY (recomputation_id, study_uid)
) STRICT;
CREATE INDEX recomputation_study_open ON recomputation_study (study_uid, state);

CREATE TABLE recomputation_difference (
  recomputation_id TEXT NOT NULL REFERENCES recomputation (id),
  procedure_id     TEXT NOT NULL REFERENCES procedure_case (id),
  quantity         TEXT NOT NULL,
  before           REAL,
  after            REAL,
  flag_before      TEXT NOT NULL,
  flag_after       TEXT NOT NULL,
  version_before   INTEGER NOT NULL,
  version_after    INTEGER NOT NULL,
  PRIMARY KEY (recomputation_id, procedure_id, quantity)
) STRICT;

CREATE INDEX procedure_case_device ON procedure_case (device_key, local_date);

-- Devices of reports that were read before this. Their words follow with the next report of each. An id is 24 characters
-- of a to z and 2 to 7, as others are.
INSERT INTO device (id, device_key, reports, first_day, last_day, first_received_at, last_received_at)
  SELECT replace(replace(replace(replace(lower(hex(randomblob(12))), '0', 'g'), '1', 'h'), '8', 'i'), '9', 'j'), r.device_key,
    COUNT(DISTINCT r.dataset_digest), substr(MIN(r.content_at), 1, 10), substr(MAX(r.content_at), 1, 10), MIN(k.received_at), MAX(k.received_at)
  FROM report r JOIN receipt k ON k.id = r.receipt_id GROUP BY r.device_key;
INSERT INTO device_day (device_id, day, reports)
  SELECT d.id, substr(r.content_at, 1, 10), COUNT(DISTINCT r.dataset_digest) FROM report r JOIN device d ON d.device_key = r.device_key
  WHERE r.content_at <> '' GROUP BY d.id, substr(r.content_at, 1, 10);
INSERT INTO device_seen (device_id, aspect, value, first_day, last_day, reports)
  SELECT d.id, 'room', p.room, MIN(p.local_date), MAX(p.local_date), COUNT(*) FROM procedure_case p JOIN device d ON d.device_key = p.device_key
  WHERE p.room <> '' GROUP BY d.id, p.room;

-- +goose Down
DROP INDEX procedure_case_device;
DROP TABLE recomputation_difference;
DROP TABLE recomputation_study;
DROP TABLE recomputation;
DROP TABLE device_profile;
DROP TABLE device_day;
DROP TABLE device_seen;
DROP TABLE device;
