-- +goose Up
-- 0 is work on what arrives now, 1 is what may wait: back-fills and estimating anew.
ALTER TABLE job ADD COLUMN priority INTEGER NOT NULL DEFAULT 0;
DROP INDEX job_next;
CREATE INDEX job_next ON job (state, priority, due_at, id);

-- +goose Down
DROP INDEX job_next;
CREATE INDEX job_next ON job (state, due_at, id);
ALTER TABLE job DROP COLUMN priority;
