-- +goose Up
-- Checks of devices: the form that a physicist filled in, the answers and the sheet as it was made then. Nothing is changed.
CREATE TABLE device_check (
  id           TEXT PRIMARY KEY,
  device_id    TEXT NOT NULL REFERENCES device (id),
  day          TEXT NOT NULL,
  report_uid   TEXT NOT NULL,
  form         TEXT NOT NULL,
  answers      TEXT NOT NULL,
  sheet_text   TEXT NOT NULL,
  sheet_page   TEXT NOT NULL,
  digest       TEXT NOT NULL,
  contradicted INTEGER NOT NULL,
  profile      INTEGER NOT NULL,
  made_by      TEXT NOT NULL,
  maker        TEXT NOT NULL,
  made_at      TEXT NOT NULL,
  reason       TEXT NOT NULL
) STRICT;
CREATE INDEX device_check_device ON device_check (device_id, made_at, id);

-- +goose Down
DROP TABLE device_check;
