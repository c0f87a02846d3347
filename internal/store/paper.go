package store

import (
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"time"

	"afterbeam/internal/audit"
)

// Paper is one paper that was made of a case, with the digests of its bytes.
type Paper struct {
	ID      string
	CaseID  string
	Version int // of the case's estimate
	// Kind, Language (a BCP 47 tag) and Size are what was asked for.
	Kind, Language, Size string
	PDF, HTML            string // digests, see Raw
	MadeBy               string // account
	MadeAt               time.Time
}

// MakePaper makes a paper: write is given the paper with its id and time and gives the bytes, which are durable before the
// record is. Nothing is kept when write fails.
func (db *DB) MakePaper(ctx context.Context, actor Actor, p Paper, write func(Paper) (pdf, html []byte, err error)) (Paper, error) {
	p.ID, p.MadeBy, p.MadeAt = newID(), actor.Account, db.now().UTC().Truncate(time.Second)
	pdf, html, err := write(p)
	if err != nil {
		return Paper{}, err
	}
	for _, one := range []struct {
		raw    []byte
		digest *string
	}{{pdf, &p.PDF}, {html, &p.HTML}} {
		if *one.digest, err = db.keepObject(ctx, one.raw); err != nil {
			return Paper{}, err
		}
	}
	err = db.change(ctx, actor, func(c *change) error {
		var patient string
		if err := c.QueryRowContext(ctx, `SELECT patient_id FROM procedure_case WHERE id = $1`, p.CaseID).Scan(&patient); err != nil {
			return err
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO paper (`+paperColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
			p.ID, p.CaseID, p.Version, p.Kind, p.Language, p.Size, p.PDF, p.HTML, p.MadeBy, at(p.MadeAt)); err != nil {
			return fmt.Errorf("insert paper: %w", err)
		}
		return c.note(ctx, audit.Record{Action: "paper.make", Object: p.ID, Patient: patient, Reason: p.Kind, After: p.PDF})
	})
	return p, err
}

// keepObject makes bytes of our own durable and gives their digest.
func (db *DB) keepObject(ctx context.Context, raw []byte) (string, error) {
	a, err := db.kept.Receive(ctx, bytes.NewReader(raw))
	if err != nil {
		return "", storageKind(err, nil)
	}
	return a.Digest, storageKind(a.Keep(), nil)
}

const paperColumns = `id, procedure_id, version, kind, language, size, pdf_digest, html_digest, made_by, made_at`

func scanPaper(r interface{ Scan(...any) error }) (Paper, error) {
	var p Paper
	var made dbTime
	err := r.Scan(&p.ID, &p.CaseID, &p.Version, &p.Kind, &p.Language, &p.Size, &p.PDF, &p.HTML, &p.MadeBy, &made)
	p.MadeAt = made.Time
	return p, err
}

// Papers lists the papers of a case, newest first.
func (db *DB) Papers(ctx context.Context, caseID string) ([]Paper, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Paper, error) { return scanPaper(r) },
		`SELECT `+paperColumns+` FROM paper WHERE procedure_id = $1 ORDER BY made_at DESC, id DESC`, caseID)
}

// Paper gives a paper of a case.
func (db *DB) Paper(ctx context.Context, caseID, id string) (Paper, error) {
	p, err := scanPaper(db.read.QueryRowContext(ctx, `SELECT `+paperColumns+` FROM paper WHERE procedure_id = $1 AND id = $2`, caseID, id))
	return p, kind(ended(ctx, err))
}

// named tells whether a receipt, a paper or a release names an object.
func (db *DB) named(ctx context.Context, digest string) (bool, error) {
	var there bool
	err := db.read.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM receipt WHERE digest = $1) OR EXISTS (SELECT 1 FROM paper WHERE pdf_digest = $1 OR html_digest = $1)
		OR EXISTS (SELECT 1 FROM release WHERE digest = $1 AND digest <> '')`, digest).Scan(&there)
	return there, kind(ended(ctx, err))
}
