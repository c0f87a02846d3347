-- +goose Up
-- Papers that were made of cases. Their bytes are objects, named by digest: a reprint is the same bytes.
CREATE TABLE paper (
  id           TEXT PRIMARY KEY,
  procedure_id TEXT NOT NULL REFERENCES procedure_case (id),
  version      INTEGER NOT NULL,
  kind         TEXT NOT NULL,
  language     TEXT NOT NULL,
  size         TEXT NOT NULL,
  pdf_digest   TEXT NOT NULL,
  html_digest  TEXT NOT NULL,
  made_by      TEXT NOT NULL,
  made_at      TEXT NOT NULL
) STRICT;
CREATE INDEX paper_of ON paper (procedure_id, made_at, id);
CREATE INDEX paper_pdf ON paper (pdf_digest);
CREATE INDEX paper_html ON paper (html_digest);

-- +goose Down
DROP TABLE paper;
