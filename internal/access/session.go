package access

import (
	"context"
	"crypto/rand"
	"encoding/base32"
	"errors"
	"strings"
	"time"

	"afterbeam/internal/store"
)

// Sessions is the part of the store that CheckSession needs.
type Sessions interface {
	SessionByHash(ctx context.Context, hash string) (store.Session, error)
}

// NewSessionSecret makes the secret of a session or of a one-time link: 160 random bits, and what the store keeps of it.
func NewSessionSecret() (text, hash string) {
	var b [20]byte
	_, _ = rand.Read(b[:]) // never fails: crypto/rand ends the process instead
	text = strings.ToLower(base32.StdEncoding.EncodeToString(b[:]))
	return text, Hash(text)
}

// CheckSession finds the session of a secret and what it allows. One that is unknown, ended, longer unused than idle, past
// its end or of a disabled account is ErrUnknown, all alike; a store that cannot answer is its own error. What the account
// may is what the store says now, so that another role holds from the next request on.
func CheckSession(ctx context.Context, sessions Sessions, text string, idle time.Duration, now time.Time) (store.Session, Grant, error) {
	s, err := sessions.SessionByHash(ctx, Hash(text))
	switch {
	case errors.Is(err, store.ErrNotFound):
		return store.Session{}, Grant{}, ErrUnknown
	case err != nil:
		return store.Session{}, Grant{}, err
	case !s.EndedAt.IsZero(), !s.Account.DisabledAt.IsZero(), !now.Before(s.EndsAt), now.Sub(s.SeenAt) >= idle, !Role(s.Account.Role).Valid():
		return store.Session{}, Grant{}, ErrUnknown
	}
	return s, Grant{Account: s.Account, Role: Role(s.Account.Role), TokenID: s.ID}, nil
}
