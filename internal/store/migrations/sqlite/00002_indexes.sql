-- +goose Up
CREATE INDEX patient_link_from ON patient_link (from_patient, undone_at);
CREATE INDEX patient_link_into ON patient_link (into_patient, undone_at);
CREATE INDEX event_place_procedure ON event_place (procedure_id);
CREATE INDEX procedure_case_date ON procedure_case (local_date, start_at, id);
CREATE INDEX report_instance ON report (sop_instance);
CREATE INDEX flag_state ON flag (state, procedure_id, version);
CREATE INDEX token_account ON token (account_id);

-- +goose Down
DROP INDEX token_account;
DROP INDEX flag_state;
DROP INDEX report_instance;
DROP INDEX procedure_case_date;
DROP INDEX event_place_procedure;
DROP INDEX patient_link_into;
DROP INDEX patient_link_from;
