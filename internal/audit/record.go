package audit

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"time"
)

// Record is one entry. It holds keys and opaque ids, never a patient's name, number or birth date, so that it can
// outlive an erased identity.
type Record struct {
	Sequence uint64    // 1, 2, 3 without a gap
	Time     time.Time // UTC, microseconds, never before the record above
	Actor    string    // account, token or door that acted
	Role     string
	Session  string // id of the session or token, never its secret
	Source   string // network address or folder the act came from
	Action   string // such as report.keep, patient.view, facts.change
	Object   string // opaque id of what was acted on
	Patient  string // opaque patient key, "" when no patient is concerned
	Outcome  string // done, refused, failed
	Reason   string
	Before   string // digest of the state before a change
	After    string // digest of the state after
	Version  string // of the program
	Previous string // hash of the record above, 64 zeros for the first
	Hash     string // SHA-256 over the canonical bytes, lower-case hex
}

// Genesis is the previous hash of the first record.
const Genesis = "0000000000000000000000000000000000000000000000000000000000000000"

// Seal gives the record its place after head: sequence, previous hash, a time that does not go back, and its hash.
func Seal(r Record, head Head, now time.Time) Record {
	r.Sequence = head.Sequence + 1
	r.Previous = head.Hash
	if head.Sequence == 0 {
		r.Previous = Genesis
	}
	r.Time = now.UTC().Truncate(time.Microsecond)
	if r.Time.Before(head.Time) {
		r.Time = head.Time
	}
	r.Hash = r.digest()
	return r
}

// Head is the end of a chain: what the next record follows and what an anchor holds.
type Head struct {
	Sequence uint64    `json:"sequence"`
	Time     time.Time `json:"time"`
	Hash     string    `json:"hash"`
}

// Head gives the record as the end of its chain.
func (r Record) Head() Head { return Head{Sequence: r.Sequence, Time: r.Time, Hash: r.Hash} }

// digest hashes the canonical bytes: sequence and time as big-endian numbers, then each text with its length before it,
// so that no two records share their bytes.
func (r Record) digest() string {
	h := sha256.New()
	var n [8]byte
	number := func(v uint64) {
		binary.BigEndian.PutUint64(n[:], v)
		_, _ = h.Write(n[:]) // a hash never fails
	}
	number(r.Sequence)
	number(uint64(r.Time.UnixMicro()))
	for _, text := range []string{
		r.Actor, r.Role, r.Session, r.Source, r.Action, r.Object, r.Patient, r.Outcome, r.Reason, r.Before, r.After, r.Version, r.Previous,
	} {
		number(uint64(len(text)))
		_, _ = h.Write([]byte(text))
	}
	return hex.EncodeToString(h.Sum(nil))
}
