// Package conformance holds the one suite of tests that every database under the store must pass.
//
// Run is called from the test of each database with a function that opens an empty store of the given settings, and
// opens it again when the folder is the same. What only one kind of database can be asked (its files, its own settings,
// its query plans) stands in the test of that database.
package conformance
