package main

import (
	"context"
	"fmt"

	"afterbeam/internal/ingest"
	"afterbeam/internal/procedure"
	"afterbeam/internal/store"
)

// imported counts what importing device profiles did.
type imported struct{ Signed, Drafts, Known int }

// importProfiles brings the profiles of a file into the store, each once: the service takes profiles from there alone. One that
// names two physicists comes signed, any other as a draft that waits for a physicist's signature.
func importProfiles(ctx context.Context, db *store.DB, actor store.Actor, profiles []procedure.DeviceProfile, reason string) (imported, error) {
	var n imported
	for _, p := range profiles {
		stored, err := ingest.StoredProfile(p, reason)
		if err != nil {
			return n, fmt.Errorf("device %s from %s: %w", p.Device, p.From, err)
		}
		kept, changed, err := db.ImportProfile(ctx, actor, p.Device, stored, p.ApprovedBy)
		switch {
		case err != nil:
			return n, fmt.Errorf("device %s from %s: %w", p.Device, p.From, err)
		case !changed:
			n.Known++
		case kept.State == store.ProfileSigned:
			n.Signed++
		default:
			n.Drafts++
		}
	}
	return n, nil
}
