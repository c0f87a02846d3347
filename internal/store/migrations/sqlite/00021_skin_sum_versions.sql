-- +goose Up
-- Which versions a sum of skin dose is made of, so that one of superseded versions can be found and deleted in time.
CREATE TABLE skin_sum_version (
  key    TEXT NOT NULL REFERENCES skin_sum (key) ON DELETE CASCADE,
  digest TEXT NOT NULL,
  PRIMARY KEY (key, digest)
) STRICT;
CREATE INDEX skin_sum_made ON skin_sum (made_at);
CREATE INDEX procedure_version_digest ON procedure_version (digest);
CREATE INDEX commitment_ended ON commitment (reported_at);

-- +goose Down
DROP INDEX commitment_ended;
DROP INDEX procedure_version_digest;
DROP INDEX skin_sum_made;
DROP TABLE skin_sum_version;
