-- +goose Up
-- What the newest version says of its patient and procedure beside doses and levels. Images of older versions follow with the
-- next estimate.
ALTER TABLE procedure_case ADD COLUMN complexity TEXT NOT NULL DEFAULT '';
ALTER TABLE procedure_case ADD COLUMN age_years REAL;
ALTER TABLE procedure_case ADD COLUMN sex TEXT NOT NULL DEFAULT '';
ALTER TABLE procedure_case ADD COLUMN height_mm REAL;
ALTER TABLE procedure_case ADD COLUMN weight_kg REAL;
ALTER TABLE procedure_case ADD COLUMN images REAL;
ALTER TABLE procedure_case ADD COLUMN no_peak TEXT NOT NULL DEFAULT '';
ALTER TABLE procedure_case ADD COLUMN no_effective TEXT NOT NULL DEFAULT '';
UPDATE procedure_case SET
    complexity = COALESCE(json_extract(v.summary, '$.procedure.complexity'), ''),
    age_years = json_extract(v.summary, '$.procedure.patient.age_years') * 1.0,
    sex = COALESCE(json_extract(v.summary, '$.procedure.patient.sex'), ''),
    height_mm = json_extract(v.summary, '$.procedure.patient.height_cm') * 10.0,
    weight_kg = json_extract(v.summary, '$.procedure.patient.weight_kg') * 1.0,
    no_peak = CASE WHEN psd_gy IS NULL THEN COALESCE(json_extract(v.summary, '$.peak_skin_dose.reason'), '') ELSE '' END,
    no_effective = CASE WHEN effective_sv IS NULL THEN COALESCE(json_extract(v.summary, '$.effective_dose.reason'), '') ELSE '' END
  FROM procedure_version v WHERE v.procedure_id = procedure_case.id AND v.version = procedure_case.version AND json_valid(v.summary);

-- One row for each case that counts, with all that summaries and exports read of it, by day: a month is a run of pages. Each
-- row is made anew in the transaction that changes what it is made of. persons holds role and id of those who took part.
CREATE TABLE summary_case (
  local_date   TEXT NOT NULL,
  procedure_id TEXT NOT NULL,
  version      INTEGER NOT NULL,
  start_at     TEXT NOT NULL,
  start_offset INTEGER NOT NULL,
  patient      TEXT NOT NULL,
  room         TEXT NOT NULL,
  device_key   TEXT NOT NULL,
  class        TEXT NOT NULL,
  complexity   TEXT NOT NULL,
  description  TEXT NOT NULL,
  state        TEXT NOT NULL,
  basis        TEXT NOT NULL,
  flag_state   TEXT NOT NULL,
  gaps         INTEGER NOT NULL,
  pregnant     INTEGER NOT NULL,
  quality      INTEGER NOT NULL,
  kerma_gy     REAL,
  kerma_factor REAL,
  kap_gym2     REAL,
  fluoro_s     REAL,
  images       REAL,
  psd_gy       REAL,
  psd_low_gy   REAL,
  psd_high_gy  REAL,
  psd_method   TEXT NOT NULL,
  no_peak      TEXT NOT NULL,
  effective_sv REAL,
  effective_low_sv  REAL,
  effective_high_sv REAL,
  effective_method  TEXT NOT NULL,
  no_effective TEXT NOT NULL,
  age_years    REAL,
  sex          TEXT NOT NULL,
  height_mm    REAL,
  weight_kg    REAL,
  persons      TEXT NOT NULL,
  PRIMARY KEY (local_date, procedure_id)
) STRICT, WITHOUT ROWID;
CREATE UNIQUE INDEX summary_case_procedure ON summary_case (procedure_id);

INSERT INTO summary_case
  SELECT k.local_date, k.id, k.version, k.start_at, k.start_offset, p.survivor, k.room, k.device_key, k.class, k.complexity, k.description, k.state, k.basis,
    k.flag_state, k.gaps, k.pregnant, k.quality, k.kerma_gy, k.kerma_factor, k.kap_gym2, k.fluoro_s, k.images, k.psd_gy, k.psd_low_gy, k.psd_high_gy, k.psd_method, k.no_peak,
    k.effective_sv, k.effective_low_sv, k.effective_high_sv, k.effective_method, k.no_effective, k.age_years, k.sex, k.height_mm, k.weight_kg,
    COALESCE((SELECT group_concat(who, char(10)) FROM (
      SELECT rp.role || ':' || rp.person_id AS who FROM report r JOIN report_person rp ON rp.report_id = r.id
        WHERE r.study_uid = k.study_uid AND r.device_key = k.device_key AND r.patient_id = k.patient_id
      UNION SELECT pp.role || ':' || pp.person_id FROM performed_step s JOIN performed_person pp ON pp.step_id = s.id
        WHERE s.study_uid <> '' AND s.study_uid = k.study_uid ORDER BY 1)), '')
  FROM procedure_case k JOIN patient p ON p.id = k.patient_id WHERE k.basis <> 'replaced';

-- +goose Down
DROP TABLE summary_case;
ALTER TABLE procedure_case DROP COLUMN no_effective;
ALTER TABLE procedure_case DROP COLUMN no_peak;
ALTER TABLE procedure_case DROP COLUMN images;
ALTER TABLE procedure_case DROP COLUMN weight_kg;
ALTER TABLE procedure_case DROP COLUMN height_mm;
ALTER TABLE procedure_case DROP COLUMN sex;
ALTER TABLE procedure_case DROP COLUMN age_years;
ALTER TABLE procedure_case DROP COLUMN complexity;
