-- +goose Up
CREATE TABLE receipt (
  id           TEXT PRIMARY KEY,
  digest       TEXT NOT NULL UNIQUE,
  size         INTEGER NOT NULL,
  door         TEXT NOT NULL,
  source       TEXT NOT NULL,
  received_at  TEXT NOT NULL,
  sop_class    TEXT NOT NULL,
  sop_instance TEXT NOT NULL,
  study_uid    TEXT NOT NULL,
  state        TEXT NOT NULL CHECK (state IN ('kept', 'read', 'quarantined', 'discarded')),
  reason       TEXT NOT NULL
) STRICT;
CREATE INDEX receipt_state ON receipt (state, received_at, id);
CREATE INDEX receipt_instance ON receipt (sop_instance);

CREATE TABLE job (
  id           INTEGER PRIMARY KEY,
  kind         TEXT NOT NULL,
  subject      TEXT NOT NULL,
  wanted       INTEGER NOT NULL DEFAULT 1,
  state        TEXT NOT NULL CHECK (state IN ('ready', 'leased', 'done', 'failed')),
  attempt      INTEGER NOT NULL DEFAULT 0,
  fence        INTEGER NOT NULL DEFAULT 0,
  owner        TEXT NOT NULL DEFAULT '',
  leased_until TEXT NOT NULL DEFAULT '',
  due_at       TEXT NOT NULL,
  created_at   TEXT NOT NULL,
  error        TEXT NOT NULL DEFAULT '',
  UNIQUE (kind, subject)
) STRICT;
CREATE INDEX job_next ON job (state, due_at, id);

CREATE TABLE patient (
  id         TEXT PRIMARY KEY,
  survivor   TEXT NOT NULL,
  created_at TEXT NOT NULL
) STRICT;
CREATE INDEX patient_survivor ON patient (survivor);

-- Names, numbers and birth dates stand here alone, so that erasing a row leaves doses without an identity.
CREATE TABLE patient_identity (
  patient_id TEXT PRIMARY KEY REFERENCES patient (id),
  number     TEXT NOT NULL,
  issuer     TEXT NOT NULL,
  name       TEXT NOT NULL,
  birth_date TEXT NOT NULL,
  sex        TEXT NOT NULL
) STRICT;
CREATE INDEX patient_identity_number ON patient_identity (number, issuer);

CREATE TABLE patient_link (
  id           TEXT PRIMARY KEY,
  from_patient TEXT NOT NULL REFERENCES patient (id),
  into_patient TEXT NOT NULL REFERENCES patient (id),
  reason       TEXT NOT NULL,
  made_by      TEXT NOT NULL,
  made_at      TEXT NOT NULL,
  undone_by    TEXT NOT NULL DEFAULT '',
  undone_at    TEXT NOT NULL DEFAULT '',
  undo_reason  TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TABLE report (
  id             TEXT PRIMARY KEY,
  receipt_id     TEXT NOT NULL UNIQUE REFERENCES receipt (id),
  sop_instance   TEXT NOT NULL,
  dataset_digest TEXT NOT NULL,
  content_digest TEXT NOT NULL,
  study_uid      TEXT NOT NULL,
  device_key     TEXT NOT NULL,
  patient_id     TEXT NOT NULL REFERENCES patient (id),
  content_at     TEXT NOT NULL,
  body           BLOB NOT NULL
) STRICT;
CREATE INDEX report_study ON report (study_uid, id);
CREATE INDEX report_dataset ON report (dataset_digest);
CREATE INDEX report_content ON report (content_digest);
CREATE INDEX report_patient ON report (patient_id);

CREATE TABLE review (
  id         TEXT PRIMARY KEY,
  kind       TEXT NOT NULL,
  patient_id TEXT NOT NULL,
  report_id  TEXT NOT NULL,
  detail     TEXT NOT NULL,
  opened_at  TEXT NOT NULL,
  settled_at TEXT NOT NULL DEFAULT '',
  settled_by TEXT NOT NULL DEFAULT '',
  reason     TEXT NOT NULL DEFAULT '',
  UNIQUE (kind, report_id, patient_id)
) STRICT;
CREATE INDEX review_open ON review (settled_at, opened_at, id);

CREATE TABLE procedure_case (
  id            TEXT PRIMARY KEY,
  study_uid     TEXT NOT NULL,
  device_key    TEXT NOT NULL,
  patient_id    TEXT NOT NULL REFERENCES patient (id),
  room          TEXT NOT NULL,
  state         TEXT NOT NULL,
  start_at      TEXT NOT NULL,
  local_date    TEXT NOT NULL,
  start_offset  INTEGER NOT NULL,
  offset_source INTEGER NOT NULL,
  class         TEXT NOT NULL,
  description   TEXT NOT NULL,
  quality       INTEGER NOT NULL,
  version       INTEGER NOT NULL,
  flag_state    TEXT NOT NULL,
  kerma_gy      REAL,
  kap_gym2      REAL,
  fluoro_s      REAL,
  psd_gy        REAL,
  psd_low_gy    REAL,
  psd_high_gy   REAL,
  psd_method    TEXT NOT NULL,
  effective_sv  REAL,
  effective_low_sv  REAL,
  effective_high_sv REAL,
  effective_method  TEXT NOT NULL,
  complete_doses INTEGER NOT NULL,
  gaps          INTEGER NOT NULL,
  kerma_factor  REAL,
  kap_factor    REAL,
  field_m2      REAL,
  updated_at    TEXT NOT NULL,
  UNIQUE (study_uid, device_key, patient_id)
) STRICT;
CREATE INDEX procedure_case_patient ON procedure_case (patient_id, local_date);
CREATE INDEX procedure_case_start ON procedure_case (start_at, id);
CREATE INDEX procedure_case_flag ON procedure_case (flag_state, start_at, id);
CREATE INDEX procedure_case_room ON procedure_case (room, start_at, id);

-- One row for each estimate that was ever made; never updated.
CREATE TABLE procedure_version (
  procedure_id TEXT NOT NULL REFERENCES procedure_case (id),
  version      INTEGER NOT NULL,
  made_at      TEXT NOT NULL,
  program      TEXT NOT NULL,
  methods      TEXT NOT NULL,
  digest       TEXT NOT NULL,
  change       TEXT NOT NULL,
  summary      TEXT NOT NULL,
  body         BLOB NOT NULL,
  map          BLOB,
  PRIMARY KEY (procedure_id, version)
) STRICT;

CREATE TABLE event_place (
  event_uid    TEXT NOT NULL,
  plane        INTEGER NOT NULL,
  procedure_id TEXT NOT NULL REFERENCES procedure_case (id),
  PRIMARY KEY (event_uid, plane, procedure_id)
) STRICT;

CREATE TABLE fact (
  id           INTEGER PRIMARY KEY,
  procedure_id TEXT NOT NULL REFERENCES procedure_case (id),
  name         TEXT NOT NULL,
  value        TEXT NOT NULL,
  source       TEXT NOT NULL,
  author       TEXT NOT NULL,
  reason       TEXT NOT NULL,
  made_at      TEXT NOT NULL
) STRICT;
CREATE INDEX fact_procedure ON fact (procedure_id, id);

CREATE TABLE flag (
  procedure_id TEXT NOT NULL REFERENCES procedure_case (id),
  version      INTEGER NOT NULL,
  place        INTEGER NOT NULL,
  scope        TEXT NOT NULL,
  scheme       TEXT NOT NULL,
  level_id     TEXT NOT NULL,
  quantity     TEXT NOT NULL,
  state        TEXT NOT NULL,
  value        REAL,
  level        REAL,
  basis        TEXT NOT NULL,
  text         TEXT NOT NULL,
  source       TEXT NOT NULL,
  PRIMARY KEY (procedure_id, version, place)
) STRICT;

CREATE TABLE account (
  id          TEXT PRIMARY KEY,
  name        TEXT NOT NULL UNIQUE,
  role        TEXT NOT NULL,
  rooms       TEXT NOT NULL,
  created_at  TEXT NOT NULL,
  disabled_at TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TABLE token (
  id           TEXT PRIMARY KEY,
  account_id   TEXT NOT NULL REFERENCES account (id),
  prefix       TEXT NOT NULL,
  hash         TEXT NOT NULL UNIQUE,
  purpose      TEXT NOT NULL,
  created_at   TEXT NOT NULL,
  expires_at   TEXT NOT NULL,
  last_used_at TEXT NOT NULL DEFAULT '',
  revoked_at   TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TABLE setting (
  name  TEXT PRIMARY KEY,
  value TEXT NOT NULL
) STRICT;

CREATE TABLE audit (
  sequence INTEGER PRIMARY KEY,
  time     TEXT NOT NULL,
  actor    TEXT NOT NULL,
  role     TEXT NOT NULL,
  session  TEXT NOT NULL,
  source   TEXT NOT NULL,
  action   TEXT NOT NULL,
  object   TEXT NOT NULL,
  patient  TEXT NOT NULL,
  outcome  TEXT NOT NULL,
  reason   TEXT NOT NULL,
  before   TEXT NOT NULL,
  after    TEXT NOT NULL,
  version  TEXT NOT NULL,
  previous TEXT NOT NULL,
  hash     TEXT NOT NULL
) STRICT;
CREATE INDEX audit_patient ON audit (patient, sequence);

-- +goose Down
DROP TABLE audit;
DROP TABLE setting;
DROP TABLE token;
DROP TABLE account;
DROP TABLE flag;
DROP TABLE fact;
DROP TABLE event_place;
DROP TABLE procedure_version;
DROP TABLE procedure_case;
DROP TABLE review;
DROP TABLE report;
DROP TABLE patient_link;
DROP TABLE patient_identity;
DROP TABLE patient;
DROP TABLE job;
DROP TABLE receipt;
