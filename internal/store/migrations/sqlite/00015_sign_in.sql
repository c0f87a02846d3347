-- +goose Up
-- People sign in to the pages. A password is kept as its Argon2id string, everything else that opens something as SHA-256.
CREATE TABLE password (
  account_id TEXT PRIMARY KEY REFERENCES account (id),
  hash       TEXT NOT NULL,
  set_at     TEXT NOT NULL
) STRICT;

-- One link at a time lets the person of an account set a password.
CREATE TABLE password_link (
  account_id TEXT PRIMARY KEY REFERENCES account (id),
  hash       TEXT NOT NULL UNIQUE,
  made_at    TEXT NOT NULL,
  ends_at    TEXT NOT NULL
) STRICT;

-- Who an account is at an issuer of OpenID: bound by the first sign-in, so that a name given to somebody else opens nothing.
CREATE TABLE outside_identity (
  issuer     TEXT NOT NULL,
  subject    TEXT NOT NULL,
  account_id TEXT NOT NULL REFERENCES account (id),
  bound_at   TEXT NOT NULL,
  PRIMARY KEY (issuer, subject),
  UNIQUE (issuer, account_id)
) STRICT;

CREATE TABLE session (
  id           TEXT PRIMARY KEY,
  hash         TEXT NOT NULL UNIQUE,
  account_id   TEXT NOT NULL REFERENCES account (id),
  way          TEXT NOT NULL,
  source       TEXT NOT NULL,
  agent        TEXT NOT NULL,
  begun_at     TEXT NOT NULL,
  confirmed_at TEXT NOT NULL,
  seen_at      TEXT NOT NULL,
  ends_at      TEXT NOT NULL,
  ended_at     TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX session_account ON session (account_id);

-- +goose Down
DROP TABLE session;
DROP TABLE outside_identity;
DROP TABLE password_link;
DROP TABLE password;
