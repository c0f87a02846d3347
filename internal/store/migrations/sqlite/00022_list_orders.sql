-- +goose Up
CREATE INDEX procedure_case_by_kerma ON procedure_case (COALESCE(kerma_gy, -1), start_at, id);
CREATE INDEX procedure_case_by_kap ON procedure_case (COALESCE(kap_gym2, -1), start_at, id);
CREATE INDEX procedure_case_by_peak ON procedure_case (COALESCE(psd_gy, -1), start_at, id);
CREATE INDEX procedure_case_by_effective ON procedure_case (COALESCE(effective_sv, -1), start_at, id);
-- Counts of what a filter holds for read this alone. Its condition is that of every list.
CREATE INDEX procedure_case_counted ON procedure_case (psd_gy, kerma_gy, local_date, room, class, flag_state, state) WHERE basis <> 'replaced';

-- +goose Down
DROP INDEX procedure_case_counted;
DROP INDEX procedure_case_by_effective;
DROP INDEX procedure_case_by_peak;
DROP INDEX procedure_case_by_kap;
DROP INDEX procedure_case_by_kerma;
