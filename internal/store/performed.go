package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/procedure/performed"
)

// Performed is a performed step as the store keeps it: what it says now, and when and from where that came.
type Performed struct {
	ID      string
	Version int
	Step    performed.Step
	MadeBy  string
	MadeAt  time.Time
	Import  string // id of the import, "" for what equipment announced
	Line    int    // of the imported table
}

// Outcome is what became of a step that was handed in.
type Outcome uint8

// The outcomes.
const (
	StepSame Outcome = iota
	StepAdded
	StepChanged
)

// CreateStep stores a step that equipment began to perform (N-CREATE). One whose key is known is ErrConflict.
func (db *DB) CreateStep(ctx context.Context, actor Actor, s performed.Step) (id string, err error) {
	err = db.change(ctx, actor, func(c *change) error {
		if _, _, err := stepOf(ctx, c, s.Source, s.Key); !errors.Is(err, ErrNotFound) {
			return errors.Join(err, fmt.Errorf("%w: the performed step is known", ErrConflict))
		}
		id, _, err = c.putStep(ctx, s, "", 0)
		return err
	})
	return id, err
}

// SetStep changes a step that equipment performs (N-SET): edit gets it as it stands and writes into it. A step that is not
// known is ErrNotFound; one that is completed or discontinued is ErrConflict and stays as it is. Source and key stay.
func (db *DB) SetStep(ctx context.Context, actor Actor, key string, edit func(*performed.Step) error) (id string, err error) {
	err = db.change(ctx, actor, func(c *change) error {
		_, p, err := stepOf(ctx, c, performed.SourceMPPS, key)
		if err != nil {
			return err
		}
		if p.Step.State.Final() {
			return fmt.Errorf("%w: the performed step is %s", ErrConflict, strings.ToLower(string(p.Step.State)))
		}
		if err := edit(&p.Step); err != nil {
			return err
		}
		p.Step.Source, p.Step.Key = performed.SourceMPPS, key
		id, _, err = c.putStep(ctx, p.Step, "", 0)
		return err
	})
	return id, err
}

// stepOf finds a step by its source and key.
func stepOf(ctx context.Context, q querier, source performed.Source, key string) (digest string, p Performed, err error) {
	p, digest, err = scanPerformed(q.QueryRowContext(ctx, `SELECT `+performedColumns+` FROM `+performedTables+` WHERE s.source = $1 AND s.key = $2`, source, key))
	return digest, p, err
}

// putStep stores a step: anew, or as a further version where it says something else than before.
func (c *change) putStep(ctx context.Context, s performed.Step, importID string, line int) (string, Outcome, error) {
	if s.Key == "" || s.State == "" {
		return "", StepSame, fmt.Errorf("%w: a performed step wants a key and a state", ErrInvalid)
	}
	body, digest, err := encodeStep(s)
	if err != nil {
		return "", StepSame, err
	}
	was, before, err := stepOf(ctx, c, s.Source, s.Key)
	outcome := StepChanged
	switch {
	case errors.Is(err, ErrNotFound):
		before, outcome = Performed{ID: newID()}, StepAdded
	case err != nil:
		return "", StepSame, err
	case was == digest:
		return before.ID, StepSame, nil
	}
	version := before.Version + 1
	if _, err := c.ExecContext(ctx, `INSERT INTO performed_step (id, source, key, version, study_uid, accession, state, excluded, start_at, local_date, room, has_totals, updated_at)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)
		ON CONFLICT (id) DO UPDATE SET version = $4, study_uid = $5, accession = $6, state = $7, excluded = $8, start_at = $9, local_date = $10, room = $11,
			has_totals = $12, updated_at = $13`,
		before.ID, s.Source, s.Key, version, s.StudyUID, s.Accession, s.State, s.Excluded, at(s.Start.Time), s.Start.LocalDate(), s.Room,
		!s.Totals.IsZero(), at(c.db.now())); err != nil {
		return "", StepSame, fmt.Errorf("write performed step: %w", err)
	}
	if err := c.addStepVersion(ctx, s, Performed{ID: before.ID, Version: version, Import: importID, Line: line}, digest, body); err != nil {
		return "", StepSame, err
	}
	if err := c.afterStep(ctx, before.ID, before.Step, s); err != nil {
		return "", StepSame, err
	}
	action := "performed.change"
	if outcome == StepAdded {
		action = "performed.add"
	}
	return before.ID, outcome, c.note(ctx, audit.Record{Action: action, Object: fmt.Sprintf("%s/%d", before.ID, version), Reason: string(s.Source), Before: was, After: digest})
}

func (c *change) addStepVersion(ctx context.Context, s performed.Step, p Performed, digest, body string) error {
	if _, err := c.ExecContext(ctx, `INSERT INTO performed_version (step_id, version, made_by, made_at, import_id, line, digest, body) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
		p.ID, p.Version, c.actor.Account, at(c.db.now()), p.Import, p.Line, digest, body); err != nil {
		return fmt.Errorf("insert performed version: %w", err)
	}
	i := s.Patient
	if _, err := c.ExecContext(ctx, `INSERT INTO performed_identity (step_id, version, number, issuer, name, birth_date, sex) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		p.ID, p.Version, i.Number, i.Issuer, i.Name, i.BirthDate, i.Sex); err != nil {
		return fmt.Errorf("insert performed identity: %w", err)
	}
	return nil
}

// afterStep does what a step brings with it: its persons, its facts, and the assessment of the studies it is about.
func (c *change) afterStep(ctx context.Context, id string, was, is performed.Step) error {
	if _, err := c.ExecContext(ctx, `DELETE FROM performed_person WHERE step_id = $1`, id); err != nil {
		return fmt.Errorf("clear persons of performed step: %w", err)
	}
	for _, p := range is.Operators {
		person, err := c.personOf(ctx, p, Identity{Number: is.Patient.Number, Name: is.Patient.Name})
		if err != nil {
			return err
		}
		if person == "" {
			continue
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO performed_person (step_id, person_id, role) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING`,
			id, person, roleOf(p)); err != nil {
			return fmt.Errorf("insert person of performed step: %w", err)
		}
	}
	// Who took part is told of the cases of both studies, "" being none.
	if err := c.summarise(ctx, "k.study_uid IN ($1, $2) AND k.study_uid <> ''", was.StudyUID, is.StudyUID); err != nil {
		return err
	}
	if is.StudyUID != "" {
		added, err := c.factsFromSteps(ctx, is.StudyUID)
		if err != nil {
			return err
		}
		if added {
			if err := c.want(ctx, JobAssess, is.StudyUID, Live); err != nil {
				return err
			}
		}
	}
	for _, s := range []performed.Step{was, is} {
		if s.StudyUID != "" && !s.Totals.IsZero() {
			if err := c.want(ctx, JobAssess, s.StudyUID, Live); err != nil {
				return err
			}
		}
	}
	return nil
}

// encodeStep gives a step without its patient's identity as text, and a digest of all of it.
func encodeStep(s performed.Step) (body, digest string, err error) {
	whole, err := json.Marshal(s)
	if err != nil {
		return "", "", fmt.Errorf("encode performed step: %w", err)
	}
	sum := sha256.Sum256(whole)
	s.Patient = performed.Patient{}
	text, err := json.Marshal(s)
	return string(text), hex.EncodeToString(sum[:]), err
}

const (
	performedColumns = `s.id, v.version, v.made_by, v.made_at, v.import_id, v.line, v.digest, v.body, i.number, i.issuer, i.name, i.birth_date, i.sex`
	// performedTables joins a step with its newest version; its identity may have been erased.
	performedTables = `performed_step s JOIN performed_version v ON v.step_id = s.id AND v.version = s.version
		LEFT JOIN performed_identity i ON i.step_id = s.id AND i.version = v.version`
)

func scanPerformed(row interface{ Scan(...any) error }) (p Performed, digest string, err error) {
	var made dbTime
	var body string
	var number, issuer, name, birth, sex sql.NullString
	if err := row.Scan(&p.ID, &p.Version, &p.MadeBy, &made, &p.Import, &p.Line, &digest, &body, &number, &issuer, &name, &birth, &sex); err != nil {
		return p, "", kind(err)
	}
	if err := json.Unmarshal([]byte(body), &p.Step); err != nil {
		return p, "", fmt.Errorf("performed step %s: %w", p.ID, err)
	}
	p.MadeAt = made.Time
	p.Step.Patient = performed.Patient{Number: number.String, Issuer: issuer.String, Name: name.String, BirthDate: birth.String, Sex: sex.String}
	return p, digest, nil
}

func performedList(ctx context.Context, q querier, query string, args ...any) ([]Performed, error) {
	return rows(ctx, q, func(r *sql.Rows) (Performed, error) {
		p, _, err := scanPerformed(r)
		return p, err
	}, query, args...)
}

// Performed gives a performed step by its id.
func (db *DB) Performed(ctx context.Context, id string) (Performed, error) {
	p, _, err := scanPerformed(db.read.QueryRowContext(ctx, `SELECT `+performedColumns+` FROM `+performedTables+` WHERE s.id = $1`, id))
	return p, err
}

// PerformedVersions gives everything that a step ever said, oldest first.
func (db *DB) PerformedVersions(ctx context.Context, id string) ([]Performed, error) {
	return performedList(ctx, db.read, `SELECT `+performedColumns+` FROM performed_step s JOIN performed_version v ON v.step_id = s.id
		LEFT JOIN performed_identity i ON i.step_id = s.id AND i.version = v.version WHERE s.id = $1 ORDER BY v.version`, id)
}

// PerformedFilter narrows a list of performed steps. Empty fields do not narrow; Rooms is the caller's scope, nil every
// room.
type PerformedFilter struct {
	Rooms    []string
	Room     string
	Source   performed.Source
	From, To string // local days, both included
	After    string // id of the last step seen
	Limit    int
}

// PerformedSteps lists performed steps, newest first.
func (db *DB) PerformedSteps(ctx context.Context, f PerformedFilter) ([]Performed, error) {
	var args []any
	terms := []string{"1 = 1"}
	narrow := func(term, value string) {
		if value != "" {
			terms = append(terms, term+placeholder(&args, value))
		}
	}
	narrow("s.room = ", f.Room)
	narrow("s.source = ", string(f.Source))
	narrow("s.local_date >= ", f.From)
	narrow("s.local_date <= ", f.To)
	if f.Rooms != nil {
		terms = append(terms, "s.room IN ("+placeholders(&args, f.Rooms)+")")
	}
	if f.After != "" {
		if err := cursor(ctx, db.read, "performed_step", f.After); err != nil {
			return nil, err
		}
		terms = append(terms, "(s.start_at, s.id) < (SELECT start_at, id FROM performed_step WHERE id = "+placeholder(&args, f.After)+")")
	}
	query := `SELECT ` + performedColumns + ` FROM ` + performedTables + ` WHERE ` + strings.Join(terms, " AND ") + ` ORDER BY s.start_at DESC, s.id DESC`
	if f.Limit > 0 {
		query += ` LIMIT ` + placeholder(&args, f.Limit)
	}
	return performedList(ctx, db.read, query, args...)
}

// HasPerformed tells whether anything is known to have been performed on the days of a period.
func (db *DB) HasPerformed(ctx context.Context, from, to string) (there bool, err error) {
	err = db.read.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM performed_step WHERE local_date >= $1 AND local_date <= $2)`, from, to).Scan(&there)
	return there, kind(ended(ctx, err))
}
