package store

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"encoding/hex"
	"fmt"
	"strings"
)

// pseudonymSecret is the setting that holds the site's secret of pseudonyms, in hex. It goes with backups, so that a pseudonym
// stays the same for the life of the site.
const pseudonymSecret = "pseudonym_secret"

// Pseudonyms gives people of a site names that tell nothing of them: the same for one of them at all times, and at another site
// another.
type Pseudonyms struct{ secret []byte }

// pseudonymLength is 10 characters of 5 bits: among 10,000 people two have one pseudonym with a probability of 4e-8 (computed,
// n²/2 over 2^50).
const pseudonymLength = 10

// Of gives the pseudonym of somebody of a kind, such as an operator, by an id that stays.
func (p Pseudonyms) Of(kind, id string) string {
	mac := hmac.New(sha256.New, p.secret)
	_, _ = fmt.Fprintf(mac, "%d:%s%s", len(kind), kind, id) // a hash never fails
	return kind + "-" + strings.ToLower(base32.StdEncoding.EncodeToString(mac.Sum(nil)))[:pseudonymLength]
}

// Pseudonyms gives those of the site.
func (db *DB) Pseudonyms(ctx context.Context) (Pseudonyms, error) { return pseudonyms(ctx, db.read) }

func pseudonyms(ctx context.Context, q querier) (Pseudonyms, error) {
	var text string
	if err := q.QueryRowContext(ctx, `SELECT value FROM setting WHERE name = $1`, pseudonymSecret).Scan(&text); err != nil {
		return Pseudonyms{}, kind(fmt.Errorf("read the secret of pseudonyms: %w", err))
	}
	secret, err := hex.DecodeString(text)
	if err != nil {
		return Pseudonyms{}, fmt.Errorf("read the secret of pseudonyms: %w", err)
	}
	return Pseudonyms{secret: secret}, nil
}

// makeSecret makes the site's secret of pseudonyms when there is none.
func (db *DB) makeSecret(ctx context.Context) error {
	var b [32]byte
	_, _ = rand.Read(b[:]) // never fails: crypto/rand ends the process instead
	if _, err := db.write.ExecContext(ctx, `INSERT INTO setting (name, value) VALUES ($1, $2) ON CONFLICT (name) DO NOTHING`, pseudonymSecret, hex.EncodeToString(b[:])); err != nil {
		return fmt.Errorf("make the secret of pseudonyms: %w", err)
	}
	return nil
}
