package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"fmt"
	"time"

	"afterbeam/internal/audit"
)

// DeviceCheck is one check of a device by known exposures. It is never changed.
type DeviceCheck struct {
	ID, DeviceID string
	Day          string // local day of the exposures, 2006-01-02
	ReportUID    string // of the exposures
	Form         string // as it was filled in
	Answers      []byte // the store does not look into them
	// SheetText and SheetPage are the sheet to sign as plain text and as HTML.
	SheetText, SheetPage string
	Digest               string // of form, report and sheet
	Contradicted         bool
	// Profile is the version of the draft that it made, 0 for none.
	Profile int
	// MadeBy is the account that asked for it, Maker its name.
	MadeBy, Maker string
	MadeAt        time.Time
	Reason        string
}

// digest names the content of a check.
func (k DeviceCheck) digest() string {
	h := sha256.New()
	for _, part := range []string{k.ReportUID, k.Form, string(k.Answers), k.SheetText, k.SheetPage} {
		_, _ = fmt.Fprintf(h, "%d:%s", len(part), part) // a hash never fails
	}
	return hex.EncodeToString(h.Sum(nil))
}

const checkColumns = `id, device_id, day, report_uid, form, answers, sheet_text, sheet_page, digest, contradicted, profile, made_by, maker, made_at, reason`

func scanCheck(row interface{ Scan(...any) error }) (DeviceCheck, error) {
	var k DeviceCheck
	var made dbTime
	var answers string
	err := row.Scan(&k.ID, &k.DeviceID, &k.Day, &k.ReportUID, &k.Form, &answers, &k.SheetText, &k.SheetPage, &k.Digest, &k.Contradicted, &k.Profile,
		&k.MadeBy, &k.Maker, &made, &k.Reason)
	k.Answers, k.MadeAt = []byte(answers), made.Time
	return k, kind(err)
}

// AddDeviceCheck stores a check and, when there is one, the draft of a profile that it made, in one transaction. tag is that of
// the device's profiles as they were when the check was made; another one is ErrConflict, since the draft builds on them.
func (db *DB) AddDeviceCheck(ctx context.Context, actor Actor, k DeviceCheck, draft *Profile, tag string) (DeviceCheck, error) {
	err := db.change(ctx, actor, func(c *change) error {
		if err := c.unchanged(ctx, k.DeviceID, tag); err != nil {
			return err
		}
		k.ID, k.Digest, k.MadeBy, k.MadeAt, k.Profile = newID(), k.digest(), c.actor.Account, c.db.now().UTC().Truncate(time.Microsecond), 0
		if draft != nil {
			p := *draft
			p.DeviceID, p.Origin = k.DeviceID, "interface"
			p, err := c.draft(ctx, p)
			if err != nil {
				return err
			}
			k.Profile = p.Version
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO device_check (`+checkColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)`,
			k.ID, k.DeviceID, k.Day, k.ReportUID, k.Form, string(k.Answers), k.SheetText, k.SheetPage, k.Digest, k.Contradicted, k.Profile, k.MadeBy, k.Maker,
			at(k.MadeAt), k.Reason); err != nil {
			return fmt.Errorf("insert check: %w", err)
		}
		return c.note(ctx, audit.Record{Action: "device.check", Object: k.DeviceID + "/" + k.ID, Reason: k.Reason, After: k.Digest})
	})
	return k, err
}

// DeviceChecks lists the checks of a device, newest first.
func (db *DB) DeviceChecks(ctx context.Context, device string) ([]DeviceCheck, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (DeviceCheck, error) { return scanCheck(r) },
		`SELECT `+checkColumns+` FROM device_check WHERE device_id = $1 ORDER BY made_at DESC, id DESC`, device)
}

// DeviceCheck gives a check of a device.
func (db *DB) DeviceCheck(ctx context.Context, device, id string) (DeviceCheck, error) {
	return scanCheck(db.read.QueryRowContext(ctx, `SELECT `+checkColumns+` FROM device_check WHERE device_id = $1 AND id = $2`, device, id))
}

// ReportOfDevice gives the body of a report by its SOP instance UID, when it is of the device of a key: of several the earliest by
// content time, which is the one that counts.
func (db *DB) ReportOfDevice(ctx context.Context, key, instance string) ([]byte, error) {
	var body []byte
	err := db.read.QueryRowContext(ctx, `SELECT body FROM report WHERE sop_instance = $1 AND device_key = $2 ORDER BY content_at, dataset_digest, id LIMIT 1`,
		instance, key).Scan(&body)
	return body, kind(err)
}
