// Package ingest is the way of a report into the service: Keep makes received bytes durable and answers for them, the
// pipeline reads them and assesses their procedures.
//
// A newcomer reads pipeline.go first. Doors are packages of their own below this one; every door calls Keep and has one
// table from its answers to the door's own statuses.
package ingest
