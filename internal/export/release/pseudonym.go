package release

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base32"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math/big"
	"strings"

	"afterbeam/internal/procedure"
)

// KeySize is the length of a recipient's key in bytes.
const KeySize = 32

// ErrKey is a key that is none.
var ErrKey = errors.New("no key of a recipient")

// Pseudonyms makes the pseudonyms, UIDs and days of one recipient. Without the key nobody can make them again, so that what was
// released can neither be led back nor joined with what another recipient has.
type Pseudonyms struct{ key []byte }

// NewKey makes the key of a recipient, as text to be kept, of a source of chance that nobody can foretell.
func NewKey(chance io.Reader) (string, error) {
	key := make([]byte, KeySize)
	if _, err := io.ReadFull(chance, key); err != nil {
		return "", fmt.Errorf("%w: %w", ErrKey, err)
	}
	return hex.EncodeToString(key), nil
}

// PseudonymsOf gives the pseudonyms of a kept key.
func PseudonymsOf(key string) (Pseudonyms, error) {
	raw, err := hex.DecodeString(key)
	if err != nil || len(raw) != KeySize {
		return Pseudonyms{}, fmt.Errorf("%w: %d bytes in hex expected", ErrKey, KeySize)
	}
	return Pseudonyms{key: raw}, nil
}

// sum is the keyed hash of a value; what keeps the kinds apart.
func (p Pseudonyms) sum(what, value string) []byte {
	mac := hmac.New(sha256.New, p.key)
	_, _ = mac.Write([]byte(what + "\x00" + value)) // a hash never fails
	return mac.Sum(nil)
}

// name is a pseudonym of 80 bits: two of a million patients share one with a probability below 1 in 10^12.
func (p Pseudonyms) name(prefix, what, value string) string {
	const bytesOfName = 10
	return prefix + strings.ToUpper(base32.StdEncoding.EncodeToString(p.sum(what, value)[:bytesOfName]))
}

// Patient names a patient.
func (p Pseudonyms) Patient(id string) string { return p.name("P-", "patient", id) }

// Procedure names a procedure.
func (p Pseudonyms) Procedure(id string) string { return p.name("C-", "procedure", id) }

// Device names a device.
func (p Pseudonyms) Device(id string) string { return p.name("D-", "device", id) }

// Person names somebody who took part: by identifier and issuer, else by name. "" is nobody.
func (p Pseudonyms) Person(who procedure.Person) string {
	fold := func(s string) string {
		return strings.ToLower(strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == '^' || r == '=' }), " "))
	}
	switch {
	case fold(who.ID) != "":
		return p.name("S-", "person", "number "+fold(who.Issuer)+" "+fold(who.ID))
	case fold(who.Name) != "":
		return p.name("S-", "person", "name "+fold(who.Name))
	}
	return ""
}

// UID gives another UID for a UID, under the root 2.25 of UUIDs (PS3.5 annex B.2); the UUID has version 8, that of hashes.
func (p Pseudonyms) UID(uid string) string {
	id := p.sum("uid", uid)[:16]
	id[6] = id[6]&0x0F | 0x80
	id[8] = id[8]&0x3F | 0x80
	return "2.25." + new(big.Int).SetBytes(id).String()
}

// mostDaysBack bounds the shift of days: three years, so that a season says nothing and no date lies ahead. Judgement.
const mostDaysBack = 1096

// DaysBack gives by how many days all dates of a patient move back, at least one.
func (p Pseudonyms) DaysBack(patient string) int {
	return 1 + int(binary.BigEndian.Uint64(p.sum("days", patient))%mostDaysBack)
}
