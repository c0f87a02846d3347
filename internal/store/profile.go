package store

import (
	"cmp"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"afterbeam/internal/audit"
)

// The states of a device profile.
const (
	ProfileDraft     = "draft"
	ProfileSigned    = "signed"
	ProfileWithdrawn = "withdrawn"
)

// ErrSamePerson tells that whoever wrote a profile may not sign it, ErrOtherPerson that nobody else may withdraw it.
var (
	ErrSamePerson  = errors.New("another person must sign")
	ErrOtherPerson = errors.New("the author alone may withdraw")
)

// Profile is one version of what is written down about a device from a day on. Its content is never changed. A draft is not
// used, one that its author withdrew never will be; a signed version holds from its day until the day before the next signed one, and one signed later for the same day
// takes its place.
type Profile struct {
	DeviceID string
	Version  int    // from 1, per device
	From     string // local day, 2006-01-02
	State    string
	Body     []byte // the particulars; the store does not look into them
	Digest   string // of day, who wrote it and particulars
	Origin   string // how it came: interface or file
	// DraftedBy is the account that brought it in, Drafter the name of who wrote it and answers for it.
	DraftedBy, Drafter string
	DraftedAt          time.Time
	Reason             string
	SignedBy, Signer   string
	SignedAt           time.Time
	SignReason         string
}

// InForceBefore orders signed profiles of one device as they come into force: by day, then by signature.
func (p Profile) InForceBefore(q Profile) int {
	return cmp.Or(cmp.Compare(p.From, q.From), p.SignedAt.Compare(q.SignedAt), cmp.Compare(p.Version, q.Version))
}

// digest names the content of a profile.
func (p Profile) digest() string {
	h := sha256.New()
	for _, part := range []string{p.From, p.Drafter, string(p.Body)} {
		_, _ = fmt.Fprintf(h, "%d:%s", len(part), part) // a hash never fails
	}
	return hex.EncodeToString(h.Sum(nil))
}

const withdrawn = `EXISTS (SELECT 1 FROM profile_withdrawal w WHERE w.device_id = device_profile.device_id AND w.version = device_profile.version)`

const profileColumns = `device_id, version, valid_from, CASE WHEN ` + withdrawn + ` THEN 'withdrawn' ELSE state END, body, digest, origin, drafted_by, drafter, drafted_at, reason, signed_by, signer, signed_at, sign_reason`

func scanProfile(row interface{ Scan(...any) error }) (Profile, error) {
	var p Profile
	var drafted, signed dbTime
	var body string
	err := row.Scan(&p.DeviceID, &p.Version, &p.From, &p.State, &body, &p.Digest, &p.Origin, &p.DraftedBy, &p.Drafter, &drafted, &p.Reason, &p.SignedBy, &p.Signer,
		&signed, &p.SignReason)
	p.Body, p.DraftedAt, p.SignedAt = []byte(body), drafted.Time, signed.Time
	return p, kind(err)
}

// Profiles lists every version of a device's profile, newest first.
func (db *DB) Profiles(ctx context.Context, device string) ([]Profile, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Profile, error) { return scanProfile(r) },
		`SELECT `+profileColumns+` FROM device_profile WHERE device_id = $1 ORDER BY version DESC`, device)
}

// SignedProfiles gives the signed profiles of the device of a key in the order in which they come into force: of two for one
// day the later one holds.
func (db *DB) SignedProfiles(ctx context.Context, key string) ([]Profile, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (Profile, error) { return scanProfile(r) },
		`SELECT `+profileColumns+` FROM device_profile WHERE device_id = (SELECT id FROM device WHERE device_key = $1) AND state = 'signed'
			ORDER BY valid_from, signed_at, version`, key)
}

// ProfileTag names the state of a device's profiles for conditional changes.
func (db *DB) ProfileTag(ctx context.Context, device string) (string, error) {
	return profileTag(ctx, db.read, device)
}

func profileTag(ctx context.Context, q querier, device string) (string, error) {
	var versions, settled int
	err := q.QueryRowContext(ctx, `SELECT (SELECT COUNT(*) FROM device_profile WHERE device_id = device.id),
		(SELECT COUNT(*) FROM device_profile WHERE device_id = device.id AND (state = 'signed' OR `+withdrawn+`)) FROM device WHERE id = $1`, device).Scan(&versions, &settled)
	return fmt.Sprintf("%d-%d", versions, settled), kind(err)
}

// unchanged refuses a change of profiles whose caller saw another state.
func (c *change) unchanged(ctx context.Context, device, tag string) error {
	now, err := profileTag(ctx, c, device)
	if err == nil && now != tag {
		err = fmt.Errorf("%w: the profiles have tag %s now", ErrConflict, now)
	}
	return err
}

// DraftProfile adds a version of a device's profile as a draft: From, Body, Drafter and Reason of p. tag is that of the
// profiles as the caller saw them; another one is ErrConflict.
func (db *DB) DraftProfile(ctx context.Context, actor Actor, p Profile, tag string) (Profile, error) {
	err := db.change(ctx, actor, func(c *change) error {
		if err := c.unchanged(ctx, p.DeviceID, tag); err != nil {
			return err
		}
		p.Origin = "interface"
		var err error
		p, err = c.draft(ctx, p)
		return err
	})
	return p, err
}

func (c *change) draft(ctx context.Context, p Profile) (Profile, error) {
	if err := c.QueryRowContext(ctx, `SELECT COALESCE(MAX(version), 0) + 1 FROM device_profile WHERE device_id = $1`, p.DeviceID).Scan(&p.Version); err != nil {
		return p, err
	}
	p.State, p.Digest, p.DraftedBy, p.DraftedAt = ProfileDraft, p.digest(), c.actor.Account, c.db.now().UTC().Truncate(time.Microsecond)
	if _, err := c.ExecContext(ctx, `INSERT INTO device_profile (device_id, version, valid_from, state, body, digest, origin, drafted_by, drafter, drafted_at, reason)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)`,
		p.DeviceID, p.Version, p.From, p.State, string(p.Body), p.Digest, p.Origin, p.DraftedBy, p.Drafter, at(p.DraftedAt), p.Reason); err != nil {
		return p, fmt.Errorf("insert profile: %w", err)
	}
	return p, c.note(ctx, audit.Record{Action: "profile.draft", Object: p.object(), Reason: p.Reason, After: p.Digest})
}

func (p Profile) object() string { return fmt.Sprintf("%s/%d", p.DeviceID, p.Version) }

// SignProfile puts a draft in force and asks for the cases it bears on to be estimated anew. signer is the name of who signs:
// another account than the one that brought the draft in, else ErrSamePerson. A version that is signed already is
// ErrConflict, and so is another tag. There is no recomputation, one without an ID, when no case lies in the days of the
// profile.
func (db *DB) SignProfile(ctx context.Context, actor Actor, device string, version int, signer, reason, tag string) (p Profile, r Recomputation, err error) {
	err = db.change(ctx, actor, func(c *change) error {
		if err := c.unchanged(ctx, device, tag); err != nil {
			return err
		}
		p, err = scanProfile(c.QueryRowContext(ctx, `SELECT `+profileColumns+` FROM device_profile WHERE device_id = $1 AND version = $2`, device, version))
		if err != nil {
			return err
		}
		if p.DraftedBy == actor.Account || p.Drafter == signer {
			return ErrSamePerson
		}
		p, r, err = c.sign(ctx, p, signer, reason)
		return err
	})
	return p, r, err
}

func (c *change) sign(ctx context.Context, p Profile, signer, reason string) (Profile, Recomputation, error) {
	if p.State != ProfileDraft {
		return p, Recomputation{}, fmt.Errorf("%w: the profile is %s", ErrConflict, p.State)
	}
	p.State, p.SignedBy, p.Signer, p.SignedAt, p.SignReason = ProfileSigned, c.actor.Account, signer, c.db.now().UTC().Truncate(time.Microsecond), reason
	if err := c.one(ctx, "sign profile", `UPDATE device_profile SET state = $3, signed_by = $4, signer = $5, signed_at = $6, sign_reason = $7
		WHERE device_id = $1 AND version = $2 AND state = 'draft'`, p.DeviceID, p.Version, p.State, p.SignedBy, p.Signer, at(p.SignedAt), p.SignReason); err != nil {
		return p, Recomputation{}, err
	}
	if err := c.note(ctx, audit.Record{Action: "profile.sign", Object: p.object(), Reason: reason, After: p.Digest}); err != nil {
		return p, Recomputation{}, err
	}
	var next string
	err := c.QueryRowContext(ctx, `SELECT COALESCE(MIN(valid_from), '') FROM device_profile WHERE device_id = $1 AND state = 'signed' AND valid_from > $2`, p.DeviceID, p.From).Scan(&next)
	if err != nil {
		return p, Recomputation{}, err
	}
	r := Recomputation{
		DeviceID: p.DeviceID, From: p.From, To: dayBefore(next), Reason: fmt.Sprintf("profile version %d of the device signed: %s", p.Version, reason),
	}
	if n, err := c.countStudies(ctx, r); err != nil || n == 0 {
		return p, Recomputation{}, err
	}
	r, err = c.recompute(ctx, r)
	return p, r, err
}

// WithdrawProfile takes a draft back for good. name is that of who withdraws: the account that brought the draft in or the
// person who wrote it, else ErrOtherPerson. A version that is no draft any more is ErrConflict, and so is another tag.
func (db *DB) WithdrawProfile(ctx context.Context, actor Actor, device string, version int, name, reason, tag string) (p Profile, err error) {
	err = db.change(ctx, actor, func(c *change) error {
		if err := c.unchanged(ctx, device, tag); err != nil {
			return err
		}
		p, err = scanProfile(c.QueryRowContext(ctx, `SELECT `+profileColumns+` FROM device_profile WHERE device_id = $1 AND version = $2`, device, version))
		switch {
		case err != nil:
			return err
		case p.State != ProfileDraft:
			return fmt.Errorf("%w: the profile is %s", ErrConflict, p.State)
		case p.DraftedBy != actor.Account && p.Drafter != name:
			return ErrOtherPerson
		}
		p.State = ProfileWithdrawn
		if _, err := c.ExecContext(ctx, `INSERT INTO profile_withdrawal (device_id, version, withdrawn_by, withdrawn_at, reason) VALUES ($1, $2, $3, $4, $5)`,
			device, version, actor.Account, at(c.db.now()), reason); err != nil {
			return fmt.Errorf("insert withdrawal: %w", err)
		}
		return c.note(ctx, audit.Record{Action: "profile.withdraw", Object: p.object(), Reason: reason, Before: p.Digest})
	})
	return p, err
}

// dayBefore gives the day before another, "" for "".
func dayBefore(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return ""
	}
	return t.AddDate(0, 0, -1).Format(time.DateOnly)
}

// ImportProfile adds a profile of a file once: From, Body, Drafter and Reason of p for the device of a key, which is
// registered when it is not there. With a signer, whom the file names as the second physicist, it comes signed. What was
// imported before changes nothing, be it withdrawn since; a signer that came since signs the draft. changed tells whether anything did.
func (db *DB) ImportProfile(ctx context.Context, actor Actor, key string, p Profile, signer string) (kept Profile, changed bool, err error) {
	err = db.change(ctx, actor, func(c *change) error {
		if p.DeviceID, err = c.device(ctx, key); err != nil {
			return err
		}
		p.Origin = "file"
		kept, err = scanProfile(c.QueryRowContext(ctx, `SELECT `+profileColumns+` FROM device_profile WHERE device_id = $1 AND digest = $2 ORDER BY version LIMIT 1`,
			p.DeviceID, p.digest()))
		if errors.Is(err, ErrNotFound) {
			changed = true
			kept, err = c.draft(ctx, p)
		}
		if err != nil || signer == "" || kept.State != ProfileDraft {
			return err
		}
		if signer == kept.Drafter {
			return ErrSamePerson
		}
		changed = true
		kept, _, err = c.sign(ctx, kept, signer, p.Reason)
		return err
	})
	return kept, changed, err
}
