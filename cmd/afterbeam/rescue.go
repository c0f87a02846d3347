package main

import (
	"context"
	"fmt"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/store"
)

// rescueWithin is how long the console's token is of use.
const rescueWithin = time.Hour

type rescueCommand struct{ configOption }

// Run gives a way back to a site whose administrators have no valid token left. It opens nothing over the network: who may
// read and write the store's folder has every right to it anyway.
func (r *rescueCommand) Run(c console) error {
	s, err := r.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	secret := access.NewSecret()
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		if err := db.OfferRescue(ctx, atConsole, secret.Hash, time.Now().Add(rescueWithin)); err != nil {
			return err
		}
		_, err := fmt.Fprintf(c.out, `One-time token, of use for an hour while the service runs. It makes one more administrator, who can give out tokens:
  curl -X POST -H "Authorization: Bearer %s" -H "Content-Type: application/json" -d '{"name":"NEW NAME"}' %s/v1/setup
The audit record tells of it. Disable the accounts that are not wanted any more.
`, secret.Text, reachedAt(s.HTTP))
		return err
	})
}
