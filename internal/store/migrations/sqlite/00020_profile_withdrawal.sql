-- +goose Up
-- Drafts of device profiles that their authors took back. The draft itself stays as it was written.
CREATE TABLE profile_withdrawal (
  device_id    TEXT NOT NULL,
  version      INTEGER NOT NULL,
  withdrawn_by TEXT NOT NULL,
  withdrawn_at TEXT NOT NULL,
  reason       TEXT NOT NULL,
  PRIMARY KEY (device_id, version),
  FOREIGN KEY (device_id, version) REFERENCES device_profile (device_id, version)
) STRICT;

-- +goose Down
DROP TABLE profile_withdrawal;
