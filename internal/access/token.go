package access

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"afterbeam/internal/store"
)

// The refusals. ErrUnknown says no more than that the token is of no use, so that it cannot be told why.
var (
	ErrUnknown   = errors.New("no valid token")
	ErrForbidden = errors.New("not allowed")
	// ErrOutside marks what lies outside of the account's rooms. It is a store.ErrNotFound to the caller, as if it were
	// not there, and a refusal to the audit record.
	ErrOutside = fmt.Errorf("%w in the account's rooms", store.ErrNotFound)
)

// MaxTokenAge is the longest life of a token.
const MaxTokenAge = 365 * 24 * time.Hour

// Secret is a new token: what is shown once, and what is kept of it.
type Secret struct {
	Text   string // shown once
	Prefix string // its first characters, to tell tokens apart
	Hash   string // SHA-256 in lower-case hex: the token is random enough to need no slow hash
}

// NewSecret makes a token of 160 random bits.
func NewSecret() Secret {
	var b [20]byte
	_, _ = rand.Read(b[:]) // never fails: crypto/rand ends the process instead
	text := "ab_" + strings.ToLower(base32.StdEncoding.EncodeToString(b[:]))
	return Secret{Text: text, Prefix: text[:9], Hash: Hash(text)}
}

// Hash gives what the store keeps of a token.
func Hash(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// Tokens is the part of the store that Check needs.
type Tokens interface {
	TokenByHash(ctx context.Context, hash string) (store.Token, error)
}

// Grant is what a valid token allows.
type Grant struct {
	Account store.Account
	Role    Role
	TokenID string
}

// Check finds the account of a token. A token that is unknown, expired, revoked or of a disabled account is ErrUnknown,
// all alike; a store that cannot answer is its own error.
func Check(ctx context.Context, tokens Tokens, text string, now time.Time) (Grant, error) {
	t, err := tokens.TokenByHash(ctx, Hash(text))
	switch {
	case errors.Is(err, store.ErrNotFound):
		return Grant{}, ErrUnknown
	case err != nil:
		return Grant{}, err
	case !t.RevokedAt.IsZero(), !t.Account.DisabledAt.IsZero(), !now.Before(t.ExpiresAt), !Role(t.Account.Role).Valid():
		return Grant{}, ErrUnknown
	}
	return Grant{Account: t.Account, Role: Role(t.Account.Role), TokenID: t.ID}, nil
}

// May tells whether the grant allows an operation.
func (g Grant) May(op Operation) error {
	if !slices.Contains(Permissions()[op], g.Role) {
		return fmt.Errorf("%w: role %s, operation %s", ErrForbidden, g.Role, op)
	}
	if !g.SeesAll() && slices.Contains(WholeSite(), op) {
		return fmt.Errorf("%w: operation %s wants an account that sees every room", ErrForbidden, op)
	}
	return nil
}

// SeesAll tells whether nothing narrows what the account sees.
func (g Grant) SeesAll() bool { return g.Account.Rooms == nil && !g.Account.OwnCases }

// Narrow puts the scope of the account into a filter: its rooms, and its own cases where it sees those alone. A room asked
// for outside of them finds nothing.
func (g Grant) Narrow(f store.Filter) store.Filter {
	f.Rooms, f.Account = g.Account.Rooms, ""
	if g.Account.OwnCases {
		f.Account = g.Account.ID
	}
	return f
}

// Sees tells whether a case lies in the scope of the account. One outside is ErrOutside.
func (g Grant) Sees(c store.Case) error {
	inRoom := g.Account.Rooms == nil || slices.Contains(g.Account.Rooms, c.Room)
	if inRoom && (!g.Account.OwnCases || slices.Contains(c.Operators, g.Account.ID) || slices.Contains(c.Asked, g.Account.ID)) {
		return nil
	}
	return fmt.Errorf("%w: case", ErrOutside)
}

// SeesAny tells whether any of a patient's cases lies in the scope of the account, and gives those that do.
func (g Grant) SeesAny(cases []store.Case) ([]store.Case, error) {
	var seen []store.Case
	for _, c := range cases {
		if g.Sees(c) == nil {
			seen = append(seen, c)
		}
	}
	if !g.SeesAll() && len(seen) == 0 {
		return nil, fmt.Errorf("%w: patient", ErrOutside)
	}
	return seen, nil
}

// Actor names the grant's holder in the audit record.
func (g Grant) Actor(source string) store.Actor {
	return store.Actor{Account: g.Account.ID, Role: string(g.Role), Session: g.TokenID, Source: source}
}

// SeesRoom tells whether a room lies in the scope of the account, for what is no case. One outside is ErrOutside.
func (g Grant) SeesRoom(room string) error {
	if g.Account.Rooms == nil || slices.Contains(g.Account.Rooms, room) {
		return nil
	}
	return fmt.Errorf("%w: room", ErrOutside)
}
