package store

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"time"

	"afterbeam/internal/audit"
)

// Identity is how a report names its patient. It is kept in a table of its own.
type Identity struct {
	Number, Issuer string
	Name           string
	BirthDate      string // 2006-01-02 or ""
	Sex            string // M, F, O or ""
}

// Patient is one patient record with its identity; Survivor is the record that stands for it after links.
type Patient struct {
	ID, Survivor string
	CreatedAt    time.Time
	Identity     Identity
}

// ReviewKind is why something waits for a person's eye.
type ReviewKind string

// The kinds of review.
const (
	// ReviewIdentity is a known number with another birth date or sex: kept as a patient of its own.
	ReviewIdentity ReviewKind = "identity-mismatch"
	// ReviewIssuer is a number that is also known with another issuer, or with none, of what may be the same person.
	ReviewIssuer ReviewKind = "same-number-other-issuer"
	// ReviewNoNumber is a report without a patient number.
	ReviewNoNumber ReviewKind = "no-patient-number"
	// ReviewSameInstance is a second content under one SOP instance UID.
	ReviewSameInstance ReviewKind = "same-instance-other-content"
	// ReviewSameContent is one content under another header.
	ReviewSameContent ReviewKind = "same-content-other-header"
)

// Review is one open or settled entry of the review list.
type Review struct {
	ID        string
	Kind      ReviewKind
	PatientID string
	ReportID  string
	Detail    string
	OpenedAt  time.Time
	SettledAt time.Time
	SettledBy string
	Reason    string
}

func (c *change) openReview(ctx context.Context, kind ReviewKind, patient, report, detail string) error {
	c.doses = true
	_, err := c.ExecContext(ctx, `INSERT INTO review (id, kind, patient_id, report_id, detail, opened_at) VALUES ($1, $2, $3, $4, $5, $6)
		ON CONFLICT (kind, report_id, patient_id) DO NOTHING`, newID(), kind, patient, report, detail, at(c.db.now()))
	if err != nil {
		return fmt.Errorf("open review: %w", err)
	}
	return nil
}

// Reviews lists open reviews, oldest first, after the cursor.
func (db *DB) Reviews(ctx context.Context, after string, limit int) ([]Review, error) {
	var args []any
	query := `SELECT id, kind, patient_id, report_id, detail, opened_at, settled_at, settled_by, reason FROM review WHERE settled_at = ''`
	if after != "" {
		if err := cursor(ctx, db.read, "review", after); err != nil {
			return nil, err
		}
		query += ` AND (opened_at, id) > (SELECT opened_at, id FROM review WHERE id = ` + placeholder(&args, after) + `)`
	}
	query += ` ORDER BY opened_at, id LIMIT ` + placeholder(&args, limit)
	return rows(ctx, db.read, func(r *sql.Rows) (Review, error) {
		var v Review
		var opened, settled dbTime
		err := r.Scan(&v.ID, &v.Kind, &v.PatientID, &v.ReportID, &v.Detail, &opened, &settled, &v.SettledBy, &v.Reason)
		v.OpenedAt, v.SettledAt = opened.Time, settled.Time
		return v, err
	}, query, args...)
}

// SettleReview closes a review with a reason.
func (db *DB) SettleReview(ctx context.Context, actor Actor, id, reason string) error {
	if reason == "" {
		return fmt.Errorf("%w: settling wants a reason", ErrInvalid)
	}
	return db.change(ctx, actor, func(c *change) error {
		if err := c.one(ctx, "settle review", `UPDATE review SET settled_at = $2, settled_by = $3, reason = $4 WHERE id = $1 AND settled_at = ''`,
			id, at(db.now()), actor.Account, reason); err != nil {
			return err
		}
		c.doses = true
		return c.note(ctx, audit.Record{Action: "review.settle", Object: id, Reason: reason})
	})
}

// resolve finds or makes the patient of a report. A known number with another birth date or sex never joins: it becomes
// a patient of its own, and reviews say why a person must look.
func (c *change) resolve(ctx context.Context, i Identity, study string) (patient string, reviews []ReviewKind, err error) {
	if i.Number == "" {
		// Without a number the study is all that joins reports.
		i.Issuer = "study " + study
		reviews = append(reviews, ReviewNoNumber)
	}
	known, err := patientsBy(ctx, c, i.Number, i.Issuer)
	if err != nil {
		return "", nil, err
	}
	if p, ok := fitting(known, i); ok {
		now := completed(p.Identity, i)
		if now == p.Identity {
			return p.ID, reviews, nil
		}
		if err := c.otherIssuers(ctx, &reviews, p.Identity, now); err != nil {
			return "", nil, err
		}
		return p.ID, reviews, c.one(ctx, "complete patient identity", `UPDATE patient_identity SET name = $2, birth_date = $3, sex = $4 WHERE patient_id = $1`,
			p.ID, now.Name, now.BirthDate, now.Sex)
	}
	if len(known) > 0 && i.Number != "" {
		reviews = append(reviews, ReviewIdentity)
	}
	if err := c.otherIssuers(ctx, &reviews, Identity{}, i); err != nil {
		return "", nil, err
	}
	id := newID()
	if _, err := c.ExecContext(ctx, `INSERT INTO patient (id, survivor, created_at) VALUES ($1, $1, $2)`, id, at(c.db.now())); err != nil {
		return "", nil, fmt.Errorf("insert patient: %w", err)
	}
	if _, err := c.ExecContext(ctx, `INSERT INTO patient_identity (patient_id, number, issuer, name, birth_date, sex) VALUES ($1, $2, $3, $4, $5, $6)`,
		id, i.Number, i.Issuer, i.Name, i.BirthDate, i.Sex); err != nil {
		return "", nil, fmt.Errorf("insert patient identity: %w", err)
	}
	return id, reviews, c.note(ctx, audit.Record{Action: "patient.make", Object: id, Patient: id})
}

// otherIssuers asks for a review when a record as it is now may be the same person as one with its number of another issuer,
// and was not before: the zero Identity is no record. So it does not matter which of the two came first or was whole first.
func (c *change) otherIssuers(ctx context.Context, reviews *[]ReviewKind, was, now Identity) error {
	if now.Number == "" {
		return nil
	}
	all, err := patientsOf(ctx, c, now.Number, "")
	if err != nil {
		return err
	}
	for _, p := range all {
		if p.Identity.Issuer != now.Issuer && maybeSame(p.Identity, now) && (was == Identity{} || !maybeSame(p.Identity, was)) {
			*reviews = append(*reviews, ReviewIssuer)
			return nil
		}
	}
	return nil
}

// fitting finds the one record that an identity belongs to: the one with the same birth date and sex, else the only one
// that does not speak against it. Where several could be meant, none is.
func fitting(known []Patient, i Identity) (Patient, bool) {
	var open []Patient
	for _, p := range known {
		if p.Identity.BirthDate == i.BirthDate && p.Identity.Sex == i.Sex {
			return p, true
		}
		if agrees(p.Identity.BirthDate, i.BirthDate) && agrees(p.Identity.Sex, i.Sex) {
			open = append(open, p)
		}
	}
	if len(open) != 1 {
		return Patient{}, false
	}
	return open[0], true
}

// maybeSame tells whether two identities of one number and different issuers may be one person: nothing speaks against it,
// and either one of them names no issuer or the birth date speaks for it.
func maybeSame(a, b Identity) bool {
	if !agrees(a.BirthDate, b.BirthDate) || !agrees(a.Sex, b.Sex) {
		return false
	}
	return a.Issuer == "" || b.Issuer == "" || (a.BirthDate != "" && a.BirthDate == b.BirthDate)
}

// agrees tells whether two identity fields do not speak against each other; an absent one speaks for nothing.
func agrees(a, b string) bool { return a == b || a == "" || b == "" }

// completed gives an identity with the fields filled that were absent so far.
func completed(have, from Identity) Identity {
	have.Name = cmp.Or(have.Name, from.Name)
	have.BirthDate = cmp.Or(have.BirthDate, from.BirthDate)
	have.Sex = cmp.Or(have.Sex, from.Sex)
	return have
}

const patientColumns = `p.id, p.survivor, p.created_at, i.number, i.issuer, i.name, i.birth_date, i.sex`

func scanPatient(row interface{ Scan(...any) error }) (Patient, error) {
	var p Patient
	var t dbTime
	err := row.Scan(&p.ID, &p.Survivor, &t, &p.Identity.Number, &p.Identity.Issuer, &p.Identity.Name, &p.Identity.BirthDate, &p.Identity.Sex)
	p.CreatedAt = t.Time
	return p, kind(err)
}

func patientsBy(ctx context.Context, q querier, number, issuer string) ([]Patient, error) {
	return rows(ctx, q, func(r *sql.Rows) (Patient, error) { return scanPatient(r) },
		`SELECT `+patientColumns+` FROM patient_identity i JOIN patient p ON p.id = i.patient_id WHERE i.number = $1 AND i.issuer = $2 ORDER BY p.created_at, p.id`,
		number, issuer)
}

// FindPatients finds the patient records of a number; an empty issuer finds those of every issuer.
func (db *DB) FindPatients(ctx context.Context, number, issuer string) ([]Patient, error) {
	if number == "" {
		return nil, fmt.Errorf("%w: no patient number", ErrInvalid)
	}
	return patientsOf(ctx, db.read, number, issuer)
}

func patientsOf(ctx context.Context, q querier, number, issuer string) ([]Patient, error) {
	return rows(ctx, q, func(r *sql.Rows) (Patient, error) { return scanPatient(r) },
		`SELECT `+patientColumns+` FROM patient_identity i JOIN patient p ON p.id = i.patient_id WHERE i.number = $1 AND ($2 = '' OR i.issuer = $2)
		ORDER BY p.created_at, p.id LIMIT 100`, number, issuer)
}

// IdentityReviews gives the open reviews about who a patient is: those of the patient's group, and of other records with a
// number of it. While there are any, the sums of the group may lack procedures that are kept under another record.
func (db *DB) IdentityReviews(ctx context.Context, patient string) ([]string, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (string, error) {
		var id string
		return id, r.Scan(&id)
	}, `SELECT id FROM review WHERE settled_at = '' AND kind IN ($2, $3, $4) AND patient_id IN (
		SELECT other.patient_id FROM patient me JOIN patient p ON p.survivor = me.survivor JOIN patient_identity i ON i.patient_id = p.id
		JOIN patient_identity other ON other.patient_id = p.id OR (i.number <> '' AND other.number = i.number) WHERE me.id = $1)
		ORDER BY opened_at, id`, patient, ReviewIdentity, ReviewIssuer, ReviewNoNumber)
}

// Patient gives a patient record by its id.
func (db *DB) Patient(ctx context.Context, id string) (Patient, error) {
	return scanPatient(db.read.QueryRowContext(ctx,
		`SELECT `+patientColumns+` FROM patient p JOIN patient_identity i ON i.patient_id = p.id WHERE p.id = $1`, id))
}
