// Package crashtest proves the first promise of the service: what was acknowledged is found after any end of the process.
// It holds tests alone. They run the real program, kill it at named steps and at random under load, let its system calls
// fail, fill its disk and its database, and compare what the senders were told with what the store and the interface hold.
//
// The senders keep a ledger of their own; the checker reads the database by the sqlite3 program and the objects by gzip and
// SHA-256, and shares no code with the store. AFTERBEAM_CRASH chooses how much is done: quick (12 kills), slice (170,
// the default under CI) or full (over 7,700).
//
// A kill leaves the page cache, so these tests cannot see a missing fsync; the order test reads that off the system calls,
// and the tests of the object store lose what was not synced. The database's own safety rests on SQLite.
package crashtest
