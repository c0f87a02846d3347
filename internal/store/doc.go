// Package store is the service's memory: received bytes, receipts, jobs, patients, procedures with every estimate ever
// made, flags, accounts and the audit chain, in one SQLite database beside a folder of objects.
//
// Every change is one transaction that also appends the audit record of it. Writes go through a single connection with
// synchronous=FULL, so that a returned success is on stable storage as far as SQLite and the disk keep their word; reads
// go through their own connections that cannot write. SQL stands beside its function, with $1 placeholders and no
// dialect of its own where that can be, because another database shall pass the same conformance suite.
package store
