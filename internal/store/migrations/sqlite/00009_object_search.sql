-- +goose Up
-- What lists of kept objects are searched by. Objects that came before this have neither: they are found by their study
-- and their own UID.
ALTER TABLE receipt ADD COLUMN series_uid TEXT NOT NULL DEFAULT '';
ALTER TABLE receipt ADD COLUMN study_date TEXT NOT NULL DEFAULT '';
CREATE INDEX receipt_study ON receipt (study_uid, series_uid, sop_instance);
CREATE INDEX receipt_series ON receipt (series_uid);
CREATE INDEX receipt_received ON receipt (received_at, id);
CREATE INDEX receipt_date ON receipt (study_date);

-- +goose Down
DROP INDEX receipt_date;
DROP INDEX receipt_received;
DROP INDEX receipt_series;
DROP INDEX receipt_study;
ALTER TABLE receipt DROP COLUMN study_date;
ALTER TABLE receipt DROP COLUMN series_uid;
