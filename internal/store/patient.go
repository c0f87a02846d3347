package store

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
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

// Link is a person's word that two patient records are one patient.
type Link struct {
	ID, From, Into string
	Reason, MadeBy string
	MadeAt         time.Time
	UndoneBy       string
	UndoneAt       time.Time
	UndoReason     string
}

// LinkPatients says that two records are one patient. Nothing of either is rewritten, so that UnlinkPatients takes it
// back without a trace in the doses.
func (db *DB) LinkPatients(ctx context.Context, actor Actor, from, into, reason string) (Link, error) {
	if from == into || reason == "" {
		return Link{}, fmt.Errorf("%w: linking wants two patients and a reason", ErrInvalid)
	}
	l := Link{ID: newID(), From: from, Into: into, Reason: reason, MadeBy: actor.Account, MadeAt: db.now().UTC().Truncate(time.Microsecond)}
	err := db.change(ctx, actor, func(c *change) error {
		survivors := map[string]string{}
		for _, id := range []string{from, into} {
			var survivor string
			if err := c.QueryRowContext(ctx, `SELECT survivor FROM patient WHERE id = $1`, id).Scan(&survivor); err != nil {
				return err
			}
			survivors[id] = survivor
		}
		if survivors[from] == survivors[into] {
			return fmt.Errorf("%w: the two records are linked already", ErrConflict)
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO patient_link (id, from_patient, into_patient, reason, made_by, made_at) VALUES ($1, $2, $3, $4, $5, $6)`,
			l.ID, l.From, l.Into, l.Reason, l.MadeBy, at(l.MadeAt)); err != nil {
			return err
		}
		if err := c.regroup(ctx, from, into); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "patient.link", Object: l.ID, Patient: into, Before: from, Reason: reason})
	})
	return l, err
}

// UnlinkPatients takes a link back.
func (db *DB) UnlinkPatients(ctx context.Context, actor Actor, link, reason string) error {
	if reason == "" {
		return fmt.Errorf("%w: unlinking wants a reason", ErrInvalid)
	}
	return db.change(ctx, actor, func(c *change) error {
		var from, into string
		if err := c.QueryRowContext(ctx, `SELECT from_patient, into_patient FROM patient_link WHERE id = $1 AND undone_at = ''`, link).Scan(&from, &into); err != nil {
			return err
		}
		if err := c.one(ctx, "undo link", `UPDATE patient_link SET undone_by = $2, undone_at = $3, undo_reason = $4 WHERE id = $1`,
			link, actor.Account, at(db.now()), reason); err != nil {
			return err
		}
		if err := c.regroup(ctx, from, into); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "patient.unlink", Object: link, Patient: into, Before: from, Reason: reason})
	})
}

// Links lists the links that a patient's group has now.
func (db *DB) Links(ctx context.Context, patient string) ([]Link, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Link, error) {
		var l Link
		var made dbTime
		err := r.Scan(&l.ID, &l.From, &l.Into, &l.Reason, &l.MadeBy, &made)
		l.MadeAt = made.Time
		return l, err
	}, `SELECT l.id, l.from_patient, l.into_patient, l.reason, l.made_by, l.made_at FROM patient_link l JOIN patient p ON p.id = l.from_patient
		WHERE l.undone_at = '' AND p.survivor = (SELECT survivor FROM patient WHERE id = $1) ORDER BY l.made_at, l.id`, patient)
}

// regroup finds the groups around the given patients from the links in force and sets each member's survivor: the
// record made first, so that the order of linking does not matter.
func (c *change) regroup(ctx context.Context, around ...string) error {
	c.doses = true
	seen := map[string]bool{}
	for _, start := range around {
		if seen[start] {
			continue
		}
		group, err := c.group(ctx, start)
		if err != nil {
			return err
		}
		for _, id := range group {
			seen[id] = true
		}
		survivor, err := c.earliest(ctx, group)
		if err != nil {
			return err
		}
		for _, id := range group {
			if err := c.one(ctx, "set survivor", `UPDATE patient SET survivor = $2 WHERE id = $1`, id, survivor); err != nil {
				return err
			}
			if err := c.wantCases(ctx, id); err != nil {
				return err
			}
		}
	}
	return nil
}

// wantCases asks for every study of a patient to be assessed again: the sums beside its cases have changed.
func (c *change) wantCases(ctx context.Context, patient string) error {
	studies, err := rows(ctx, c, func(r *sql.Rows) (string, error) {
		var study string
		return study, r.Scan(&study)
	}, `SELECT DISTINCT study_uid FROM procedure_case WHERE patient_id = $1 ORDER BY study_uid`, patient)
	if err != nil {
		return err
	}
	for _, study := range studies {
		if err := c.want(ctx, JobAssess, study, Live); err != nil {
			return err
		}
	}
	return nil
}

// group walks the links in force from one patient.
func (c *change) group(ctx context.Context, start string) ([]string, error) {
	group, seen := []string{start}, map[string]bool{start: true}
	for i := 0; i < len(group); i++ {
		next, err := rows(ctx, c, func(r *sql.Rows) (string, error) {
			var id string
			return id, r.Scan(&id)
		}, `SELECT into_patient FROM patient_link WHERE from_patient = $1 AND undone_at = ''
			UNION SELECT from_patient FROM patient_link WHERE into_patient = $1 AND undone_at = '' ORDER BY 1`, group[i])
		if err != nil {
			return nil, err
		}
		for _, id := range next {
			if !seen[id] {
				seen[id] = true
				group = append(group, id)
			}
		}
	}
	return group, nil
}

func (c *change) earliest(ctx context.Context, group []string) (string, error) {
	var first Patient
	for _, id := range group {
		p := Patient{ID: id}
		var t dbTime
		if err := c.QueryRowContext(ctx, `SELECT created_at FROM patient WHERE id = $1`, id).Scan(&t); err != nil {
			return "", err
		}
		p.CreatedAt = t.Time
		if first.ID == "" || p.CreatedAt.Before(first.CreatedAt) || (p.CreatedAt.Equal(first.CreatedAt) && p.ID < first.ID) {
			first = p
		}
	}
	if first.ID == "" {
		return "", errors.New("empty patient group")
	}
	return first.ID, nil
}
