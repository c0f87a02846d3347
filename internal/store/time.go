package store

import (
	"database/sql/driver"
	"fmt"
	"time"
)

// stamp is the form of every time in the database: UTC, fixed width, microseconds, so that text sorts as time.
const stamp = "2006-01-02T15:04:05.000000Z"

// dbTime carries a time to and from the database. The zero time is the empty text.
type dbTime struct{ time.Time }

func at(t time.Time) dbTime { return dbTime{t} }

// Value gives the fixed-width text. A year that it cannot hold is refused: it could not be read again.
func (t dbTime) Value() (driver.Value, error) {
	if t.IsZero() {
		return "", nil
	}
	u := t.UTC().Truncate(time.Microsecond)
	if u.Year() < 1 || u.Year() > 9999 {
		return nil, fmt.Errorf("%w: a time in the year %d", ErrInvalid, u.Year())
	}
	return u.Format(stamp), nil
}

// Scan reads the fixed-width text.
func (t *dbTime) Scan(src any) error {
	text, ok := src.(string)
	if !ok {
		return fmt.Errorf("time column holds %T, wanted text", src)
	}
	if text == "" {
		t.Time = time.Time{}
		return nil
	}
	parsed, err := time.Parse(stamp, text)
	t.Time = parsed
	return err
}
