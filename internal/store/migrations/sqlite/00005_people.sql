-- +goose Up
-- Persons as reports and performed steps name them: an identifier with its issuer, else a login, else a name. Never a patient.
CREATE TABLE person (
  id         TEXT PRIMARY KEY,
  key        TEXT NOT NULL UNIQUE,
  name       TEXT NOT NULL,
  login      TEXT NOT NULL,
  number     TEXT NOT NULL,
  issuer     TEXT NOT NULL,
  first_seen TEXT NOT NULL
) STRICT;

CREATE TABLE report_person (
  report_id TEXT NOT NULL REFERENCES report (id),
  person_id TEXT NOT NULL REFERENCES person (id),
  role      TEXT NOT NULL,
  PRIMARY KEY (report_id, person_id, role)
) STRICT;
CREATE INDEX report_person_person ON report_person (person_id, report_id);

-- Whose account a person is; one in force at a time, ended ones stay.
CREATE TABLE person_account (
  id         TEXT PRIMARY KEY,
  person_id  TEXT NOT NULL REFERENCES person (id),
  account_id TEXT NOT NULL REFERENCES account (id),
  reason     TEXT NOT NULL,
  made_by    TEXT NOT NULL,
  made_at    TEXT NOT NULL,
  ended_by   TEXT NOT NULL DEFAULT '',
  ended_at   TEXT NOT NULL DEFAULT '',
  end_reason TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE UNIQUE INDEX person_account_one ON person_account (person_id) WHERE ended_at = '';
CREATE INDEX person_account_account ON person_account (account_id, ended_at, person_id);

-- Who hears of a room's cases when none of their persons has an account.
CREATE TABLE room_fallback (
  id         TEXT PRIMARY KEY,
  room       TEXT NOT NULL,
  account_id TEXT NOT NULL REFERENCES account (id),
  reason     TEXT NOT NULL,
  made_by    TEXT NOT NULL,
  made_at    TEXT NOT NULL,
  ended_by   TEXT NOT NULL DEFAULT '',
  ended_at   TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE UNIQUE INDEX room_fallback_one ON room_fallback (room) WHERE ended_at = '';

-- An account that sees its own cases alone: those in which a person took part who is the account's.
ALTER TABLE account ADD COLUMN own_cases INTEGER NOT NULL DEFAULT 0;

-- +goose Down
ALTER TABLE account DROP COLUMN own_cases;
DROP TABLE room_fallback;
DROP TABLE person_account;
DROP TABLE report_person;
DROP TABLE person;
