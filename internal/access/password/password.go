// Package password keeps passwords of people: the rule for a new one, and Argon2id (RFC 9106) for what is kept of it.
package password

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"
	"golang.org/x/sync/semaphore"
	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
)

// The shortest and the longest password in characters. Source: length is what counts and nothing is asked of the kinds of
// characters, NIST SP 800-63B-4, 2025, section 3.1.1.2 (memory); 12 is the project's judgement, the upper end keeps one
// request from costing much.
const (
	Shortest = 12
	Longest  = 256
)

// ErrHash marks a kept string that is no Argon2id hash.
var ErrHash = errors.New("not an Argon2id hash")

// Fault is what is wrong with a new password.
type Fault string

// The faults.
const (
	TooShort     Fault = "short"
	TooLong      Fault = "long"
	HoldsAccount Fault = "account"
	OneCharacter Fault = "repeated"
)

// Error says what is wrong.
func (f Fault) Error() string { return "password not usable: " + string(f) }

// Check tells what is wrong with a new password of an account, as a Fault: its length, that it is too short without the
// account's name, or nothing but one character.
func Check(text, account string) error {
	fold := cases.Fold()
	plain, name := fold.String(norm.NFKC.String(text)), fold.String(norm.NFKC.String(strings.TrimSpace(account)))
	switch n := utf8.RuneCountInString(text); {
	case n < Shortest:
		return TooShort
	case n > Longest:
		return TooLong
	case utf8.RuneCountInString(name) >= 3 && strings.Contains(plain, name) && utf8.RuneCountInString(strings.ReplaceAll(plain, name, "")) < Shortest:
		return HoldsAccount
	}
	if first, _ := utf8.DecodeRuneInString(plain); strings.Trim(plain, string(first)) == "" {
		return OneCharacter
	}
	return nil
}

// Cost says how much work one hash is.
type Cost struct {
	Passes    uint32
	MemoryKiB uint32
	Lanes     uint8
}

// DefaultCost is the second recommended option of RFC 9106, 2021, section 4: 3 passes over 64 MiB in 4 lanes (memory).
func DefaultCost() Cost { return Cost{Passes: 3, MemoryKiB: 64 << 10, Lanes: 4} }

// Salt and hash in bytes: RFC 9106, 2021, section 4 (memory).
const (
	saltBytes = 16
	hashBytes = 32
)

// Hasher hashes few passwords at once, so that a flood of attempts does not fill the memory.
type Hasher struct {
	cost  Cost
	turns *semaphore.Weighted
	blank string // what an account without a password is compared with
}

// NewHasher makes a Hasher of a cost that does atOnce hashes at the same time.
func NewHasher(cost Cost, atOnce int64) *Hasher {
	h := &Hasher{cost: cost, turns: semaphore.NewWeighted(atOnce)}
	h.blank = encode(cost, make([]byte, saltBytes), make([]byte, hashBytes))
	return h
}

// Hash gives what is kept of a password, in the PHC string format.
func (h *Hasher) Hash(ctx context.Context, text string) (string, error) {
	salt := make([]byte, saltBytes)
	_, _ = rand.Read(salt) // never fails: crypto/rand ends the process instead
	sum, err := h.sum(ctx, h.cost, text, salt)
	return encode(h.cost, salt, sum), err
}

// Matches tells whether a password is the kept one. For a kept "" it does the same work and says no, so that time does not
// tell which accounts there are.
func (h *Hasher) Matches(ctx context.Context, kept, text string) (bool, error) {
	against := kept
	if kept == "" {
		against = h.blank
	}
	cost, salt, want, err := decode(against)
	if err != nil {
		return false, err
	}
	got, err := h.sum(ctx, cost, text, salt)
	return err == nil && kept != "" && subtle.ConstantTimeCompare(want, got) == 1, err
}

func (h *Hasher) sum(ctx context.Context, c Cost, text string, salt []byte) ([]byte, error) {
	if err := h.turns.Acquire(ctx, 1); err != nil {
		return nil, err
	}
	defer h.turns.Release(1)
	return argon2.IDKey([]byte(norm.NFKC.String(text)), salt, c.Passes, c.MemoryKiB, c.Lanes, hashBytes), nil
}

func encode(c Cost, salt, sum []byte) string {
	text := base64.RawStdEncoding.EncodeToString
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, c.MemoryKiB, c.Passes, c.Lanes, text(salt), text(sum))
}

func decode(kept string) (c Cost, salt, sum []byte, err error) {
	parts := strings.Split(kept, "$")
	if len(parts) != 6 || parts[1] != "argon2id" || parts[2] != fmt.Sprintf("v=%d", argon2.Version) {
		return c, nil, nil, ErrHash
	}
	if _, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &c.MemoryKiB, &c.Passes, &c.Lanes); err != nil || c.Passes == 0 || c.Lanes == 0 {
		return c, nil, nil, ErrHash
	}
	salt, err = base64.RawStdEncoding.DecodeString(parts[4])
	if err != nil {
		return c, nil, nil, ErrHash
	}
	if sum, err = base64.RawStdEncoding.DecodeString(parts[5]); err != nil || len(sum) != hashBytes {
		return c, nil, nil, ErrHash
	}
	return c, salt, sum, nil
}
