-- +goose Up
-- Whether the newest version has a skin dose map stands with the case, so that lists need not look at versions.
ALTER TABLE procedure_case ADD COLUMN has_map INTEGER NOT NULL DEFAULT 0;
UPDATE procedure_case SET has_map = 1 WHERE EXISTS (SELECT 1 FROM procedure_version v
  WHERE v.procedure_id = procedure_case.id AND v.version = procedure_case.version AND length(v.map) > 0);

-- +goose Down
ALTER TABLE procedure_case DROP COLUMN has_map;
