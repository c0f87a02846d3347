-- +goose Up
-- What several procedures together left on the skin. The key names the exact versions that are in it, so that a row is
-- never stale: other versions have another key.
CREATE TABLE skin_sum (
  key     TEXT PRIMARY KEY,
  body    TEXT NOT NULL,
  made_at TEXT NOT NULL
) STRICT;

-- +goose Down
DROP TABLE skin_sum;
