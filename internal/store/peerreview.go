package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"afterbeam/internal/audit"
	"afterbeam/internal/summary"
)

// maxWords bounds a text that people write, in characters.
const maxWords = 2000

// words checks a text that people have to write.
func words(name, text string) error {
	if strings.TrimSpace(text) == "" || utf8.RuneCountInString(text) > maxWords {
		return fmt.Errorf("%w: %s wants words, %d characters at most", ErrInvalid, name, maxWords)
	}
	return nil
}

// PeerReview is what a colleague found of a case. It is never made by a dose: a person says it and why.
type PeerReview struct {
	CaseID       string
	Sequence     int
	State        summary.ReviewState
	Reason       string
	Version      int // of the case, as it was looked at
	Author, Role string
	Day          string // local date
	MadeAt       time.Time
}

// ReviewCase keeps what a colleague found. version is that of the case which the colleague saw; another one is ErrConflict.
// Whoever took part in the procedure finds nothing of it: that is ErrConflict too.
func (db *DB) ReviewCase(ctx context.Context, actor Actor, caseID string, version int, state summary.ReviewState, reason string) (PeerReview, error) {
	if !slices.Contains(summary.ReviewStates(), state) {
		return PeerReview{}, fmt.Errorf("%w: a review is pending, appropriate, opportunity or not-appropriate", ErrInvalid)
	}
	if err := words("reason", reason); err != nil {
		return PeerReview{}, err
	}
	v := PeerReview{
		CaseID: caseID, Version: version, State: state, Reason: reason, Author: actor.Account, Role: actor.Role, Day: db.Today(),
		MadeAt: db.now().UTC().Truncate(time.Microsecond),
	}
	err := db.change(ctx, actor, func(c *change) error {
		of, err := caseOf(ctx, c, caseID)
		switch {
		case err != nil:
			return err
		case of.Quality || of.Basis == BasisReplaced:
			return fmt.Errorf("%w: the procedure has no patient's dose", ErrConflict)
		case of.Version != version:
			return fmt.Errorf("%w: the procedure has estimate %d now", ErrConflict, of.Version)
		case slices.Contains(of.Operators, actor.Account):
			return fmt.Errorf("%w: whoever took part in a procedure does not review it", ErrConflict)
		}
		var before sql.NullString
		if err := c.QueryRowContext(ctx, `SELECT COALESCE(MAX(sequence), 0) + 1, (SELECT state FROM peer_review WHERE procedure_id = $1 ORDER BY sequence DESC LIMIT 1)
			FROM peer_review WHERE procedure_id = $1`, caseID).Scan(&v.Sequence, &before); err != nil {
			return err
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO peer_review (`+peerReviewColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
			caseID, v.Sequence, v.State, v.Reason, v.Version, v.Author, v.Role, v.Day, at(v.MadeAt)); err != nil {
			return fmt.Errorf("insert review: %w", err)
		}
		return c.note(ctx, audit.Record{
			Action: "case.review", Object: fmt.Sprintf("%s/%d", caseID, version), Patient: of.PatientID, Reason: reason, Before: before.String, After: string(state),
		})
	})
	return v, err
}

const peerReviewColumns = `procedure_id, sequence, state, reason, version, author, role, day, made_at`

// PeerReviews gives what colleagues found of a case, the newest, which holds, first.
func (db *DB) PeerReviews(ctx context.Context, caseID string) ([]PeerReview, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (PeerReview, error) {
		var v PeerReview
		var made dbTime
		err := r.Scan(&v.CaseID, &v.Sequence, &v.State, &v.Reason, &v.Version, &v.Author, &v.Role, &v.Day, &made)
		v.MadeAt = made.Time
		return v, err
	}, `SELECT `+peerReviewColumns+` FROM peer_review WHERE procedure_id = $1 ORDER BY sequence DESC`, caseID)
}
