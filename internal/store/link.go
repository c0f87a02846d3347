package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"afterbeam/internal/audit"
)

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
			if err := c.summarise(ctx, "k.patient_id = $1", id); err != nil {
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
