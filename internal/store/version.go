package store

import (
	"context"
	"database/sql"
	"time"

	"afterbeam/internal/procedure/lexicon"
)

// Version is one estimate that was made of a case; versions are only ever added.
type Version struct {
	Case    Case
	Number  int
	MadeAt  time.Time
	Program string
	Methods string // method and table versions
	// Digest names the inputs and result: an assessment with the digest of the newest version adds nothing.
	Digest string
	// Change says what differs from the version before.
	Change string
	// Summary is the result as the API shows it, Body what a later assessment and the API's detail need, Map the
	// patch doses; Body and Map are compressed.
	Summary, Body, Map []byte
	Flags              []Flag
	Events             []EventPlace
	// Window says which other cases the flags over a window rest on; SaveAssessment reads it.
	Window Window
	// Notice is to be queued with the version, nil for none.
	Notice *NewNotice
	// Skin is what the version and others of the patient together left on the skin; SaveAssessment keeps it.
	Skin []SkinSum
	// Pregnant tells that the report says the patient is or may be pregnant; SaveAssessment keeps it.
	Pregnant bool
	// Traits are what summaries group and count by; SaveAssessment keeps them.
	Traits Traits
	// OrganMethods names the method by which organ doses are to be computed of the version afterwards, "" when they are not.
	OrganMethods string
	// Names are what the case is called; SaveAssessment keeps them. nil leaves what is kept.
	Names *lexicon.Names
}

// EventPlace says which procedure an irradiation event belongs to.
type EventPlace struct {
	UID   string
	Plane int
}

// Versions lists what was ever estimated of a case, newest first, without bodies and maps.
func (db *DB) Versions(ctx context.Context, id string) ([]Version, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Version, error) {
		var v Version
		var t dbTime
		var summary string
		err := r.Scan(&v.Number, &t, &v.Program, &v.Methods, &v.Digest, &v.Change, &summary)
		v.MadeAt, v.Summary = t.Time, []byte(summary)
		return v, err
	}, `SELECT version, made_at, program, methods, digest, change, summary FROM procedure_version WHERE procedure_id = $1 ORDER BY version DESC`, id)
}

// Version gives one version whole; number 0 is the newest. Its Case is that of the newest version.
func (db *DB) Version(ctx context.Context, id string, number int) (v Version, err error) {
	err = db.snapshot(ctx, func(q querier) error {
		v, err = version(ctx, q, id, number)
		return err
	})
	return v, err
}

func version(ctx context.Context, q querier, id string, number int) (Version, error) {
	var v Version
	var t dbTime
	var summary string
	err := q.QueryRowContext(ctx, `SELECT version, made_at, program, methods, digest, change, summary, body, map FROM procedure_version
		WHERE procedure_id = $1 AND version = CASE WHEN $2 = 0 THEN (SELECT version FROM procedure_case WHERE id = $1) ELSE $2 END`, id, number).
		Scan(&v.Number, &t, &v.Program, &v.Methods, &v.Digest, &v.Change, &summary, &v.Body, &v.Map)
	if err != nil {
		return v, kind(err)
	}
	v.MadeAt, v.Summary = t.Time, []byte(summary)
	if v.Case, err = caseOf(ctx, q, id); err != nil {
		return v, err
	}
	v.Flags, err = flagsOf(ctx, q, id, v.Number)
	return v, err
}
