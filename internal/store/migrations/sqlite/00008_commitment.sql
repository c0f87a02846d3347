-- +goose Up
CREATE TABLE commitment (
  id              TEXT PRIMARY KEY,
  peer            TEXT NOT NULL,
  transaction_uid TEXT NOT NULL,
  instances       TEXT NOT NULL,
  state           TEXT NOT NULL CHECK (state IN ('pending', 'reported', 'given up')),
  attempts        INTEGER NOT NULL DEFAULT 0,
  due_at          TEXT NOT NULL,
  error           TEXT NOT NULL DEFAULT '',
  created_at      TEXT NOT NULL,
  reported_at     TEXT NOT NULL DEFAULT '',
  UNIQUE (peer, transaction_uid)
) STRICT;
CREATE INDEX commitment_due ON commitment (state, due_at);

-- +goose Down
DROP TABLE commitment;
