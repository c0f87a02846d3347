package upkeep

import (
	"context"
	"fmt"

	"afterbeam/internal/audit"
	"afterbeam/internal/store"
)

// CheckChain walks the whole audit chain against the anchor beside the database and writes down what it found. A chain that is
// broken is an error of the kind audit.ErrBroken.
func CheckChain(ctx context.Context, db *store.DB) (detail string, err error) {
	return recorded(ctx, db, store.ChainRun, func() (string, error) {
		anchor, err := db.ReadAnchor("")
		if err != nil {
			return "", err
		}
		head, err := audit.Verify(db.AuditRecords(ctx), anchor)
		if err != nil {
			return "", err
		}
		against := "no anchor yet"
		if anchor != nil {
			against = fmt.Sprintf("anchored at record %d", anchor.Sequence)
		}
		return fmt.Sprintf("whole: %d records, %s", head.Sequence, against), nil
	})
}

// Retain removes what the retention lets go and writes down how much. A dry run only counts and is not written down.
func Retain(ctx context.Context, db *store.DB, r store.Retention, dry bool) (all []store.Removal, err error) {
	if dry {
		return db.Retain(ctx, r, true)
	}
	_, err = recorded(ctx, db, store.RetentionRun, func() (string, error) {
		all, err = db.Retain(ctx, r, false)
		rows, needed := 0, 0
		for _, one := range all {
			rows, needed = rows+one.Rows, needed+one.Needed
		}
		return fmt.Sprintf("%d rows removed, %d older kept since something needs them", rows, needed), err
	})
	return all, err
}
