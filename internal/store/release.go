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
	"afterbeam/internal/store/object"
)

// ReleaseState is how a release stands.
type ReleaseState string

// The states. A release that is refused, or whose recipient's key was revoked before it was made, is never made.
const (
	ReleaseAsked    ReleaseState = "asked"
	ReleaseApproved ReleaseState = "approved"
	ReleaseRefused  ReleaseState = "refused"
	ReleaseMade     ReleaseState = "made"
)

// ReleaseWanted is what is asked for: to whom, for what, which procedures, in which form and with which options.
type ReleaseWanted struct {
	Recipient string `json:"recipient"`
	Purpose   string `json:"purpose"`
	// From and To are local days, both included; they, Room and Class narrow the procedures when not "".
	From  string `json:"from,omitempty"`
	To    string `json:"to,omitempty"`
	Room  string `json:"room,omitempty"`
	Class string `json:"class,omitempty"`
	// Reports are the dose reports as DICOM files, Tables the tables of procedures and events.
	Reports bool `json:"reports"`
	Tables  bool `json:"tables"`
	// The options, by the names that the release itself knows.
	Device          string `json:"device"`
	Persons         string `json:"persons"`
	Characteristics bool   `json:"characteristics"`
	BoundSizes      bool   `json:"bound_sizes"`
}

// Release is one release, from its request to what left.
type Release struct {
	ID          string
	RecipientID string
	State       ReleaseState
	Wanted      ReleaseWanted
	AskedBy     string
	AskedAt     time.Time
	// DecidedBy approved or refused it.
	DecidedBy, DecidedReason string
	DecidedAt                time.Time
	MadeBy                   string
	MadeAt                   time.Time
	Digest                   string // of what left, see Raw
	Size                     int64
	Reports                  int
	Procedures, Patients     int
	// Revoked tells that the key of its recipient was revoked; the store says so.
	Revoked bool
}

// Recipient is to whom releases go, with a key of its own until that is revoked.
type Recipient struct {
	ID, Name                 string
	MadeBy                   string
	MadeAt                   time.Time
	RevokedBy, RevokedReason string
	RevokedAt                time.Time
}

// ReleasedCase is a procedure that left.
type ReleasedCase struct {
	CaseID, PatientID string
	Version           int
}

const releaseColumns = `r.id, r.recipient_id, r.state, r.wanted, r.asked_by, r.asked_at, r.decided_by, r.decided_reason, r.decided_at, r.made_by, r.made_at,
	r.digest, r.size, r.reports, r.procedures, r.patients, n.revoked_at <> ''`

const fromReleases = ` FROM release r JOIN release_recipient n ON n.id = r.recipient_id `

func scanRelease(row interface{ Scan(...any) error }) (Release, error) {
	var r Release
	var wanted string
	var asked, decided, made dbTime
	err := row.Scan(&r.ID, &r.RecipientID, &r.State, &wanted, &r.AskedBy, &asked, &r.DecidedBy, &r.DecidedReason, &decided, &r.MadeBy, &made,
		&r.Digest, &r.Size, &r.Reports, &r.Procedures, &r.Patients, &r.Revoked)
	if err != nil {
		return r, kind(err)
	}
	r.AskedAt, r.DecidedAt, r.MadeAt = asked.Time, decided.Time, made.Time
	if err := json.Unmarshal([]byte(wanted), &r.Wanted); err != nil {
		return r, fmt.Errorf("what release %s wants: %w", r.ID, err)
	}
	return r, nil
}

// AskRelease keeps a request. A recipient without a key gets the one that is given.
func (db *DB) AskRelease(ctx context.Context, actor Actor, w ReleaseWanted, key string) (Release, error) {
	w.Recipient, w.Purpose = strings.TrimSpace(w.Recipient), strings.TrimSpace(w.Purpose)
	switch {
	case w.Recipient == "" || w.Purpose == "":
		return Release{}, fmt.Errorf("%w: a release wants a recipient and a purpose", ErrInvalid)
	case !w.Reports && !w.Tables:
		return Release{}, fmt.Errorf("%w: a release wants reports, tables or both", ErrInvalid)
	case key == "":
		return Release{}, fmt.Errorf("%w: a release wants a key", ErrInvalid)
	}
	wanted, err := json.Marshal(w)
	if err != nil {
		return Release{}, fmt.Errorf("write release: %w", err)
	}
	id := newID()
	err = db.change(ctx, actor, func(c *change) error {
		now := at(c.db.now())
		if _, err := c.ExecContext(ctx, `INSERT INTO release_recipient (id, name, secret, made_by, made_at) VALUES ($1, $2, $3, $4, $5)
			ON CONFLICT (name) WHERE revoked_at = '' DO NOTHING`, newID(), w.Recipient, key, actor.Account, now); err != nil {
			return fmt.Errorf("insert recipient: %w", err)
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO release (id, recipient_id, state, wanted, asked_by, asked_at)
			SELECT $1, id, $2, $3, $4, $5 FROM release_recipient WHERE name = $6 AND revoked_at = ''`,
			id, ReleaseAsked, string(wanted), actor.Account, now, w.Recipient); err != nil {
			return fmt.Errorf("insert release: %w", err)
		}
		return c.note(ctx, audit.Record{Action: "release.ask", Object: id, Reason: w.Purpose, After: string(wanted)})
	})
	if err != nil {
		return Release{}, err
	}
	return db.ReleaseRecord(ctx, id)
}

// ApproveRelease lets a release be made. Who asked for it may not.
func (db *DB) ApproveRelease(ctx context.Context, actor Actor, id, reason string) (Release, error) {
	return db.decideRelease(ctx, actor, id, reason, ReleaseApproved)
}

// RefuseRelease ends a request, or an approval that was not used; who asked for it may take it back so.
func (db *DB) RefuseRelease(ctx context.Context, actor Actor, id, reason string) (Release, error) {
	return db.decideRelease(ctx, actor, id, reason, ReleaseRefused)
}

func (db *DB) decideRelease(ctx context.Context, actor Actor, id, reason string, to ReleaseState) (Release, error) {
	if reason == "" {
		return Release{}, fmt.Errorf("%w: deciding about a release wants a reason", ErrInvalid)
	}
	err := db.change(ctx, actor, func(c *change) error {
		r, err := releaseOf(ctx, c, id)
		if err != nil {
			return err
		}
		open := r.State == ReleaseAsked || r.State == ReleaseApproved && to == ReleaseRefused
		switch {
		case !open:
			return fmt.Errorf("%w: the release is %s", ErrConflict, r.State)
		case to == ReleaseApproved && r.AskedBy == actor.Account:
			return fmt.Errorf("%w: who asked for a release cannot approve it", ErrConflict)
		case to == ReleaseApproved && r.Revoked:
			return fmt.Errorf("%w: the recipient's key was revoked", ErrConflict)
		}
		if err := c.one(ctx, "decide release", `UPDATE release SET state = $2, decided_by = $3, decided_at = $4, decided_reason = $5 WHERE id = $1`,
			id, to, actor.Account, at(c.db.now()), reason); err != nil {
			return err
		}
		action := map[ReleaseState]string{ReleaseApproved: "release.approve", ReleaseRefused: "release.refuse"}[to]
		return c.note(ctx, audit.Record{Action: action, Object: id, Reason: reason, Before: string(r.State), After: string(to)})
	})
	if err != nil {
		return Release{}, err
	}
	return db.ReleaseRecord(ctx, id)
}

// Making is what MakeRelease is given: the bytes that leave and the procedures in them.
type Making struct {
	Bytes   []byte
	Reports int
	Cases   []ReleasedCase
}

// MakeRelease makes an approved release, once: write is given the release, with the account and time of its making, and its
// recipient's key, and gives what leaves, which is durable before the record is. Every patient's audit record tells of it.
// Nothing is kept when write fails.
func (db *DB) MakeRelease(ctx context.Context, actor Actor, id string, write func(r Release, key string) (Making, error)) (Release, error) {
	r, err := db.ReleaseRecord(ctx, id)
	if err != nil {
		return Release{}, err
	}
	var key string
	if err := db.read.QueryRowContext(ctx, `SELECT secret FROM release_recipient WHERE id = $1`, r.RecipientID).Scan(&key); err != nil {
		return Release{}, kind(ended(ctx, err))
	}
	if err := makeable(r); err != nil {
		return Release{}, err
	}
	r.MadeBy, r.MadeAt = actor.Account, db.now().UTC().Truncate(time.Second)
	made, err := write(r, key)
	if err != nil {
		return Release{}, err
	}
	digest, err := db.keepObject(ctx, made.Bytes)
	if errors.Is(err, object.ErrTooLarge) {
		return Release{}, fmt.Errorf("%w: the release is too large to be kept; ask for fewer days", ErrConflict)
	}
	if err != nil {
		return Release{}, err
	}
	err = db.change(ctx, actor, func(c *change) error {
		now, err := releaseOf(ctx, c, id)
		if err != nil {
			return err
		}
		if err := makeable(now); err != nil {
			return err
		}
		return c.keepRelease(ctx, r, digest, made)
	})
	if err != nil {
		return Release{}, err
	}
	return db.ReleaseRecord(ctx, id)
}

func makeable(r Release) error {
	switch {
	case r.State != ReleaseApproved:
		return fmt.Errorf("%w: the release is %s, not approved", ErrConflict, r.State)
	case r.Revoked:
		return fmt.Errorf("%w: the recipient's key was revoked", ErrConflict)
	}
	return nil
}

// keepRelease records what left, and in the audit record of each patient that it did.
func (c *change) keepRelease(ctx context.Context, r Release, digest string, made Making) error {
	patients := map[string]bool{}
	for _, one := range made.Cases {
		if _, err := c.ExecContext(ctx, `INSERT INTO release_procedure (release_id, procedure_id, patient_id, version) VALUES ($1, $2, $3, $4)`,
			r.ID, one.CaseID, one.PatientID, one.Version); err != nil {
			return fmt.Errorf("insert released procedure: %w", err)
		}
		if !patients[one.PatientID] {
			patients[one.PatientID] = true
			if err := c.note(ctx, audit.Record{Action: "release.include", Object: r.ID, Patient: one.PatientID, Reason: r.Wanted.Purpose, After: r.RecipientID}); err != nil {
				return err
			}
		}
	}
	if err := c.one(ctx, "make release", `UPDATE release SET state = $2, made_by = $3, made_at = $4, digest = $5, size = $6, reports = $7, procedures = $8, patients = $9 WHERE id = $1`,
		r.ID, ReleaseMade, r.MadeBy, at(r.MadeAt), digest, len(made.Bytes), made.Reports, len(made.Cases), len(patients)); err != nil {
		return err
	}
	return c.note(ctx, audit.Record{Action: "release.make", Object: r.ID, Reason: r.Wanted.Purpose, After: digest})
}

func releaseOf(ctx context.Context, q querier, id string) (Release, error) {
	return scanRelease(q.QueryRowContext(ctx, `SELECT `+releaseColumns+fromReleases+`WHERE r.id = $1`, id))
}

// ReleaseRecord gives a release by its id.
func (db *DB) ReleaseRecord(ctx context.Context, id string) (Release, error) {
	r, err := releaseOf(ctx, db.read, id)
	return r, kind(ended(ctx, err))
}

// Releases lists every release, the newest request first.
func (db *DB) Releases(ctx context.Context) ([]Release, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Release, error) { return scanRelease(r) },
		`SELECT `+releaseColumns+fromReleases+`ORDER BY r.asked_at DESC, r.id DESC`)
}

// ReleasesOfPatient lists what left of a patient, over every record that is one with it.
func (db *DB) ReleasesOfPatient(ctx context.Context, patient string) ([]Release, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Release, error) { return scanRelease(r) },
		`SELECT `+releaseColumns+fromReleases+`WHERE r.id IN (SELECT release_id FROM release_procedure WHERE patient_id IN
			(SELECT id FROM patient WHERE survivor = (SELECT survivor FROM patient WHERE id = $1))) ORDER BY r.made_at DESC, r.id DESC`, patient)
}

// ReleasedCases lists the procedures that left in a release.
func (db *DB) ReleasedCases(ctx context.Context, release string) ([]ReleasedCase, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (ReleasedCase, error) {
		var one ReleasedCase
		return one, r.Scan(&one.CaseID, &one.PatientID, &one.Version)
	}, `SELECT procedure_id, patient_id, version FROM release_procedure WHERE release_id = $1 ORDER BY procedure_id`, release)
}

// Recipients lists to whom releases went or may go, by name; those whose keys were revoked too.
func (db *DB) Recipients(ctx context.Context) ([]Recipient, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Recipient, error) {
		var one Recipient
		var made, revoked dbTime
		err := r.Scan(&one.ID, &one.Name, &one.MadeBy, &made, &one.RevokedBy, &one.RevokedReason, &revoked)
		one.MadeAt, one.RevokedAt = made.Time, revoked.Time
		return one, err
	}, `SELECT id, name, made_by, made_at, revoked_by, revoked_reason, revoked_at FROM release_recipient ORDER BY name, made_at, id`)
}

// RevokeRecipient takes a recipient's key away for good: what was released can never be joined with anything later, nothing
// that is approved is made, and what was made is not handed out again. Copies of the store from before still have the key.
func (db *DB) RevokeRecipient(ctx context.Context, actor Actor, id, reason string) error {
	if reason == "" {
		return fmt.Errorf("%w: revoking a key wants a reason", ErrInvalid)
	}
	return db.change(ctx, actor, func(c *change) error {
		var key, revoked string
		if err := c.QueryRowContext(ctx, `SELECT secret, revoked_at FROM release_recipient WHERE id = $1`, id).Scan(&key, &revoked); err != nil {
			return err
		}
		if revoked != "" {
			return fmt.Errorf("%w: the key is revoked", ErrConflict)
		}
		if err := c.one(ctx, "revoke recipient", `UPDATE release_recipient SET secret = '', revoked_by = $2, revoked_at = $3, revoked_reason = $4 WHERE id = $1`,
			id, actor.Account, at(c.db.now()), reason); err != nil {
			return err
		}
		// A print of the key, by which a copy of it could be recognised.
		print := sha256.Sum256([]byte(key))
		return c.note(ctx, audit.Record{Action: "release.revoke", Object: id, Reason: reason, Before: hex.EncodeToString(print[:])})
	})
}
