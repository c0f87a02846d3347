-- +goose Up
-- Organ doses of a version of a case, computed after it: a result, or the reason why there is none. A row is never changed;
-- another method adds its own.
CREATE TABLE organ_dose (
  case_id TEXT NOT NULL REFERENCES procedure_case (id),
  version INTEGER NOT NULL,
  methods TEXT NOT NULL,
  body    TEXT NOT NULL,
  reason  TEXT NOT NULL,
  made_at TEXT NOT NULL,
  PRIMARY KEY (case_id, version, methods)
) STRICT;

-- +goose Down
DROP TABLE organ_dose;
