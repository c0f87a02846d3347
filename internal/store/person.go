package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/procedure"
)

// Person is somebody whom reports or performed steps name as taking part.
type Person struct {
	ID             string
	Name, Login    string
	Number, Issuer string
	FirstSeen      time.Time
	// Cases is how many cases name the person.
	Cases int
	// Account is whose account the person is, by the mapping Mapping made at MappedAt; "" when it is nobody's.
	Account  string
	Mapping  string
	MappedAt time.Time
}

// maxPersonText is the longest text of a person that is kept, that of five components of a DICOM name.
const maxPersonText = 324

// personKey names a person: by identifier and issuer, else by login, else by name. "" names nobody.
func personKey(p procedure.Person) string {
	fold := func(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }
	switch {
	case p.ID != "":
		return "number " + fold(p.Issuer) + " " + fold(p.ID)
	case p.Login != "":
		return "login " + fold(p.Login)
	case strings.Trim(p.Name, "^= ") != "":
		return "name " + fold(strings.TrimRight(p.Name, "^= "))
	}
	return ""
}

// personOf finds or makes the entry of a person; "" when nobody is named, or when the one named is the patient. Of several
// spellings of one identifier's name the first in alphabetical order is shown, so that the order of arrival does not matter.
func (c *change) personOf(ctx context.Context, p procedure.Person, patient Identity) (string, error) {
	key := personKey(p)
	if key == "" || len(p.Name)+len(p.Login)+len(p.ID)+len(p.Issuer) > maxPersonText || isPatient(p, patient) {
		return "", nil
	}
	var id, name string
	err := c.QueryRowContext(ctx, `SELECT id, name FROM person WHERE key = $1`, key).Scan(&id, &name)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		id = newID()
		_, err = c.ExecContext(ctx, `INSERT INTO person (id, key, name, login, number, issuer, first_seen) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
			id, key, p.Name, p.Login, p.ID, p.Issuer, at(c.db.now()))
	case err == nil && p.Name != "" && (name == "" || p.Name < name):
		err = c.one(ctx, "name person", `UPDATE person SET name = $2 WHERE id = $1`, id, p.Name)
	}
	if err != nil {
		return "", fmt.Errorf("person: %w", err)
	}
	return id, nil
}

// isPatient tells whether equipment wrote the patient where a person of the staff belongs.
func isPatient(p procedure.Person, patient Identity) bool {
	plain := func(name string) string {
		return strings.ToLower(strings.Join(strings.FieldsFunc(name, func(r rune) bool { return r == '^' || r == ' ' || r == ',' || r == '=' }), " "))
	}
	if patient.Name != "" && plain(p.Name) == plain(patient.Name) {
		return true
	}
	return patient.Number != "" && p.ID == patient.Number && (p.Issuer == "" || patient.Issuer == "" || p.Issuer == patient.Issuer)
}

// roleOf names the part that a person took.
func roleOf(p procedure.Person) string {
	// PS3.16 CID 7450 to 7453 and CID 10004.
	known := map[string]string{
		"113850": "authorizing", "113851": "administering", "121094": "performing", "121095": "referring", "121096": "requesting",
		"121097": "recording", "121098": "verifying", "121099": "assisting", "121100": "circulating",
	}
	code := p.RoleInProcedure
	switch {
	case known[code.Value] != "" && code.Scheme == "DCM":
		return known[code.Value]
	case code.Meaning != "":
		return strings.ToLower(code.Meaning)
	case p.Login != "":
		return "logged in"
	}
	return "observer"
}

// uninvolved are the roles, as a list of SQL, of those who asked for a procedure or had nothing to do with the radiation: it
// is no case of theirs.
const uninvolved = `('referring', 'requesting', 'verifying')`

// addPersons notes whom a report names.
func (c *change) addPersons(ctx context.Context, report string, persons []procedure.Person, patient Identity) error {
	for _, p := range persons {
		id, err := c.personOf(ctx, p, patient)
		if err != nil {
			return err
		}
		if id == "" {
			continue
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO report_person (report_id, person_id, role) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING`,
			report, id, roleOf(p)); err != nil {
			return fmt.Errorf("insert person of report: %w", err)
		}
	}
	return nil
}

// casesOfPerson are the ids of the cases that name the persons of which a condition on person_id holds: by their reports,
// or by a performed step of the same study.
func casesOfPerson(condition string) string {
	return `SELECT k.id FROM report_person rp JOIN report r ON r.id = rp.report_id
			JOIN procedure_case k ON k.study_uid = r.study_uid AND k.device_key = r.device_key AND k.patient_id = r.patient_id
			WHERE rp.person_id ` + condition + ` AND rp.role NOT IN ` + uninvolved + `
		UNION SELECT k.id FROM performed_person pp JOIN performed_step s ON s.id = pp.step_id AND s.study_uid <> ''
			JOIN procedure_case k ON k.study_uid = s.study_uid WHERE pp.person_id ` + condition + ` AND pp.role NOT IN ` + uninvolved + ``
}

// PersonFilter narrows a list of persons.
type PersonFilter struct {
	// Mapped, when set, asks for those who have an account or for those who have none.
	Mapped *bool
	After  string // id of the last person seen
	Limit  int
}

// Persons lists the persons that were named, those named first before the others.
func (db *DB) Persons(ctx context.Context, f PersonFilter) ([]Person, error) {
	var args []any
	terms := []string{"1 = 1"}
	if f.Mapped != nil {
		term := "a.id IS NULL"
		if *f.Mapped {
			term = "a.id IS NOT NULL"
		}
		terms = append(terms, term)
	}
	if f.After != "" {
		if err := cursor(ctx, db.read, "person", f.After); err != nil {
			return nil, err
		}
		terms = append(terms, "(p.first_seen, p.id) > (SELECT first_seen, id FROM person WHERE id = "+placeholder(&args, f.After)+")")
	}
	query := personQuery + ` WHERE ` + strings.Join(terms, " AND ") + ` ORDER BY p.first_seen, p.id`
	if f.Limit > 0 {
		query += ` LIMIT ` + placeholder(&args, f.Limit)
	}
	return rows(ctx, db.read, func(r *sql.Rows) (Person, error) { return scanPerson(r) }, query, args...)
}

// Person gives a person by id.
func (db *DB) Person(ctx context.Context, id string) (Person, error) {
	return scanPerson(db.read.QueryRowContext(ctx, personQuery+` WHERE p.id = $1`, id))
}

var personQuery = `SELECT p.id, p.name, p.login, p.number, p.issuer, p.first_seen, (SELECT COUNT(*) FROM (` + casesOfPerson("= p.id") + `) AS cases),
	COALESCE(a.account_id, ''), COALESCE(a.id, ''), COALESCE(a.made_at, '')
	FROM person p LEFT JOIN person_account a ON a.person_id = p.id AND a.ended_at = ''`

func scanPerson(row interface{ Scan(...any) error }) (Person, error) {
	var p Person
	var seen, mapped dbTime
	err := row.Scan(&p.ID, &p.Name, &p.Login, &p.Number, &p.Issuer, &seen, &p.Cases, &p.Account, &p.Mapping, &mapped)
	p.FirstSeen, p.MappedAt = seen.Time, mapped.Time
	return p, kind(err)
}

// MapPerson says whose account a person is. One who has an account already is ErrConflict: that ends first.
func (db *DB) MapPerson(ctx context.Context, actor Actor, person, account, reason string) error {
	if reason == "" {
		return fmt.Errorf("%w: giving a person an account wants a reason", ErrInvalid)
	}
	return db.change(ctx, actor, func(c *change) error {
		var known int
		if err := c.QueryRowContext(ctx, `SELECT 1 FROM person, account WHERE person.id = $1 AND account.id = $2 AND account.disabled_at = ''`, person, account).Scan(&known); err != nil {
			return err
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO person_account (id, person_id, account_id, reason, made_by, made_at) VALUES ($1, $2, $3, $4, $5, $6)`,
			newID(), person, account, reason, actor.Account, at(db.now())); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "person.assign", Object: person, Reason: reason, After: account})
	})
}

// UnmapPerson ends the mapping of a person to an account; it stays on record.
func (db *DB) UnmapPerson(ctx context.Context, actor Actor, person, reason string) error {
	if reason == "" {
		return fmt.Errorf("%w: ending wants a reason", ErrInvalid)
	}
	return db.change(ctx, actor, func(c *change) error {
		var account string
		if err := c.QueryRowContext(ctx, `SELECT account_id FROM person_account WHERE person_id = $1 AND ended_at = ''`, person).Scan(&account); err != nil {
			return err
		}
		if err := c.one(ctx, "end mapping", `UPDATE person_account SET ended_by = $2, ended_at = $3, end_reason = $4 WHERE person_id = $1 AND ended_at = ''`,
			person, actor.Account, at(db.now()), reason); err != nil {
			return err
		}
		return c.note(ctx, audit.Record{Action: "person.unassign", Object: person, Reason: reason, Before: account})
	})
}

// OperatorsOf gives the accounts whose persons took part in a case, and where there is none that of the room's fallback
// person; fallback tells which. Accounts that are disabled are not among them.
func (db *DB) OperatorsOf(ctx context.Context, caseID string) (accounts []string, fallback bool, err error) {
	err = db.snapshot(ctx, func(q querier) error {
		one, err := caseOf(ctx, q, caseID)
		if err != nil {
			return err
		}
		accounts, fallback, err = operatorsOf(ctx, q, one)
		return err
	})
	if err != nil {
		return nil, false, kind(err)
	}
	return accounts, fallback, nil
}

func operatorsOf(ctx context.Context, q querier, one Case) (accounts []string, fallback bool, err error) {
	for _, id := range one.Operators {
		var n int
		if err := q.QueryRowContext(ctx, `SELECT COUNT(*) FROM account WHERE id = $1 AND disabled_at = ''`, id).Scan(&n); err != nil {
			return nil, false, err
		}
		if n > 0 {
			accounts = append(accounts, id)
		}
	}
	if len(accounts) > 0 {
		return accounts, false, nil
	}
	var id string
	err = q.QueryRowContext(ctx, `SELECT f.account_id FROM room_fallback f JOIN account a ON a.id = f.account_id AND a.disabled_at = ''
		WHERE f.room = $1 AND f.ended_at = ''`, one.Room).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, false, nil
	}
	return []string{id}, true, err
}

// Fallback is who hears of a room's cases when none of their persons has an account.
type Fallback struct {
	Room    string
	Account string
	MadeAt  time.Time
}

// SetFallback names the account that is a room's fallback; "" ends it.
func (db *DB) SetFallback(ctx context.Context, actor Actor, room, account, reason string) error {
	if room == "" || reason == "" {
		return fmt.Errorf("%w: a fallback wants a room and a reason", ErrInvalid)
	}
	return db.change(ctx, actor, func(c *change) error {
		ended, err := c.ExecContext(ctx, `UPDATE room_fallback SET ended_by = $2, ended_at = $3 WHERE room = $1 AND ended_at = ''`, room, actor.Account, at(db.now()))
		if err != nil {
			return fmt.Errorf("end fallback: %w", err)
		}
		if n, err := ended.RowsAffected(); account == "" && (err != nil || n == 0) {
			return errors.Join(err, fmt.Errorf("%w: the room has no fallback", ErrNotFound))
		}
		if account != "" {
			var known int
			if err := c.QueryRowContext(ctx, `SELECT 1 FROM account WHERE id = $1 AND disabled_at = ''`, account).Scan(&known); err != nil {
				return err
			}
			if _, err := c.ExecContext(ctx, `INSERT INTO room_fallback (id, room, account_id, reason, made_by, made_at) VALUES ($1, $2, $3, $4, $5, $6)`,
				newID(), room, account, reason, actor.Account, at(db.now())); err != nil {
				return err
			}
		}
		return c.note(ctx, audit.Record{Action: "room.fallback", Object: room, Reason: reason, After: account})
	})
}

// Fallbacks lists the fallbacks in force by room.
func (db *DB) Fallbacks(ctx context.Context) ([]Fallback, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Fallback, error) {
		var f Fallback
		var made dbTime
		err := r.Scan(&f.Room, &f.Account, &made)
		f.MadeAt = made.Time
		return f, err
	}, `SELECT room, account_id, made_at FROM room_fallback WHERE ended_at = '' ORDER BY room`)
}

// sortedAccounts reads a list of account ids in one column.
func sortedAccounts(list sql.NullString) []string {
	if list.String == "" {
		return nil
	}
	all := strings.Fields(list.String)
	slices.Sort(all)
	return slices.Compact(all)
}
