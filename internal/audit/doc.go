// Package audit is the append-only record of who did and saw what. Each record carries the hash of the one before, so
// that an edit, a deletion, an insertion, a changed order or a cut tail is found by Verify.
//
// The package is pure: it makes records and checks chains. The store appends a record in the same transaction as the
// change it describes, and keeps the chain's head in an anchor file outside the database.
package audit
