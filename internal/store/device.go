package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// Equipment is what a report says of the device that it came from; "" is not said.
type Equipment struct {
	UID, Name, Manufacturer, Model, Serial, Station, Room, Software string
}

// Device is a piece of equipment in the registry: it is there since its first report, or since somebody wrote down a
// profile of it. Days are local days of irradiation, "" before the first report.
type Device struct {
	ID  string
	Key string // what reports are told apart by, see procedure.Device.Key
	// Equipment is that of the report with the newest content.
	Equipment
	// Reports counts data sets, each once however often it came; Procedures counts cases.
	Reports, Procedures         int
	FirstDay, LastDay           string
	FirstReceived, LastReceived time.Time
	// Drafts and Signed count the versions of its profile.
	Drafts, Signed int
}

// Seen is a room or a software version in which a device was seen.
type Seen struct {
	Value             string
	FirstDay, LastDay string
	Reports           int
}

// seeDevice keeps in the registry what a report that is new says of its device. received is when it came.
func (c *change) seeDevice(ctx context.Context, r Report) error {
	var received dbTime
	if err := c.QueryRowContext(ctx, `SELECT received_at FROM receipt WHERE id = $1`, r.ReceiptID).Scan(&received); err != nil {
		return err
	}
	id, err := c.device(ctx, r.DeviceKey)
	if err != nil {
		return err
	}
	day := dayOfUse(r.Day, received.Time)
	if _, err := c.ExecContext(ctx, `UPDATE device SET reports = reports + 1,
		first_day = CASE WHEN first_day = '' OR $2 < first_day THEN $2 ELSE first_day END, last_day = CASE WHEN $2 > last_day THEN $2 ELSE last_day END,
		first_received_at = CASE WHEN first_received_at = '' OR $3 < first_received_at THEN $3 ELSE first_received_at END,
		last_received_at = CASE WHEN $3 > last_received_at THEN $3 ELSE last_received_at END WHERE id = $1`, id, day, received); err != nil {
		return fmt.Errorf("count report of device: %w", err)
	}
	e := r.Equipment
	if _, err := c.ExecContext(ctx, `UPDATE device SET uid = $3, name = $4, manufacturer = $5, model = $6, serial = $7, station = $8, room = $9, software = $10,
		described_at = $2 WHERE id = $1 AND described_at <= $2`,
		id, at(r.ContentAt), e.UID, e.Name, e.Manufacturer, e.Model, e.Serial, e.Station, e.Room, e.Software); err != nil {
		return fmt.Errorf("describe device: %w", err)
	}
	if _, err := c.ExecContext(ctx, `INSERT INTO device_day (device_id, day, reports) VALUES ($1, $2, 1)
		ON CONFLICT (device_id, day) DO UPDATE SET reports = device_day.reports + 1`, id, day); err != nil {
		return fmt.Errorf("count day of device: %w", err)
	}
	for aspect, value := range map[string]string{"room": e.Room, "software": e.Software} {
		if value == "" {
			continue
		}
		if _, err := c.ExecContext(ctx, `INSERT INTO device_seen (device_id, aspect, value, first_day, last_day, reports) VALUES ($1, $2, $3, $4, $4, 1)
			ON CONFLICT (device_id, aspect, value) DO UPDATE SET reports = device_seen.reports + 1,
			first_day = CASE WHEN $4 < device_seen.first_day THEN $4 ELSE device_seen.first_day END,
			last_day = CASE WHEN $4 > device_seen.last_day THEN $4 ELSE device_seen.last_day END`, id, aspect, value, day); err != nil {
			return fmt.Errorf("note %s of device: %w", aspect, err)
		}
	}
	return nil
}

// dayOfUse gives the day that a report says, or the day on which it came when it says none or one that was still to come:
// a clock that runs years ahead must not make a device look alive for years.
func dayOfUse(day string, received time.Time) string {
	if day == "" || day > received.AddDate(0, 0, 1).Format(time.DateOnly) {
		return received.Format(time.DateOnly)
	}
	return day
}

// device gives the id of the device of a key and makes it when it is not there.
func (c *change) device(ctx context.Context, key string) (string, error) {
	var id string
	err := c.QueryRowContext(ctx, `SELECT id FROM device WHERE device_key = $1`, key).Scan(&id)
	if !errors.Is(err, sql.ErrNoRows) {
		return id, err
	}
	id = newID()
	if _, err := c.ExecContext(ctx, `INSERT INTO device (id, device_key) VALUES ($1, $2)`, id, key); err != nil {
		return "", fmt.Errorf("insert device: %w", err)
	}
	return id, nil
}

const deviceColumns = `id, device_key, uid, name, manufacturer, model, serial, station, room, software, reports, first_day, last_day, first_received_at, last_received_at,
	(SELECT COUNT(*) FROM procedure_case WHERE procedure_case.device_key = device.device_key),
	(SELECT COUNT(*) FROM device_profile WHERE device_id = device.id AND state = 'draft' AND NOT ` + withdrawn + `),
	(SELECT COUNT(*) FROM device_profile WHERE device_id = device.id AND state = 'signed')`

func scanDevice(row interface{ Scan(...any) error }) (Device, error) {
	var d Device
	var first, last dbTime
	err := row.Scan(&d.ID, &d.Key, &d.UID, &d.Name, &d.Manufacturer, &d.Model, &d.Serial, &d.Station, &d.Room, &d.Software, &d.Reports, &d.FirstDay, &d.LastDay,
		&first, &last, &d.Procedures, &d.Drafts, &d.Signed)
	d.FirstReceived, d.LastReceived = first.Time, last.Time
	return d, kind(err)
}

// Devices lists the registry by room, name and key. rooms is the caller's scope, nil every room: a device lies in every room
// that it was seen in.
func (db *DB) Devices(ctx context.Context, rooms []string) ([]Device, error) {
	where, args := inRooms(rooms, nil)
	return rows(ctx, db.read, func(r *sql.Rows) (Device, error) { return scanDevice(r) },
		`SELECT `+deviceColumns+` FROM device WHERE `+where+` ORDER BY room, name, device_key`, args...)
}

// Device gives a device by its id. One that was seen in none of the rooms is ErrNotFound.
func (db *DB) Device(ctx context.Context, id string, rooms []string) (Device, error) {
	where, args := inRooms(rooms, []any{id})
	return scanDevice(db.read.QueryRowContext(ctx, `SELECT `+deviceColumns+` FROM device WHERE id = $1 AND `+where, args...))
}

// DeviceID gives the id of the device that reports with a key come from.
func (db *DB) DeviceID(ctx context.Context, key string) (id string, err error) {
	err = db.read.QueryRowContext(ctx, `SELECT id FROM device WHERE device_key = $1`, key).Scan(&id)
	return id, kind(ended(ctx, err))
}

// inRooms gives the condition that a device was seen in one of the rooms; nil is every room.
func inRooms(rooms []string, args []any) (string, []any) {
	if rooms == nil {
		return `1 = 1`, args
	}
	marks := `NULL`
	for _, room := range rooms {
		marks += `, ` + placeholder(&args, room)
	}
	return `EXISTS (SELECT 1 FROM device_seen WHERE device_id = device.id AND aspect = 'room' AND value IN (` + marks + `))`, args
}

// RoomsOf lists the rooms that a device was seen in and SoftwareOf its software versions, in the order of their first day.
func (db *DB) RoomsOf(ctx context.Context, id string) ([]Seen, error) {
	return seenOf(ctx, db.read, id, "room")
}

// SoftwareOf lists the software versions of a device; see RoomsOf.
func (db *DB) SoftwareOf(ctx context.Context, id string) ([]Seen, error) {
	return seenOf(ctx, db.read, id, "software")
}

func seenOf(ctx context.Context, q querier, id, aspect string) ([]Seen, error) {
	return rows(ctx, q, func(r *sql.Rows) (Seen, error) {
		var s Seen
		return s, r.Scan(&s.Value, &s.FirstDay, &s.LastDay, &s.Reports)
	}, `SELECT value, first_day, last_day, reports FROM device_seen WHERE device_id = $1 AND aspect = $2 ORDER BY first_day, value`, id, aspect)
}

// DaysOfUse gives the newest days, at most so many, on which a device was used.
func (db *DB) DaysOfUse(ctx context.Context, id string, newest int) ([]string, error) {
	return rows(ctx, db.read, func(r *sql.Rows) (string, error) {
		var day string
		return day, r.Scan(&day)
	}, `SELECT day FROM device_day WHERE device_id = $1 ORDER BY day DESC LIMIT $2`, id, newest)
}
