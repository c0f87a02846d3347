// Package upkeep does what a store needs besides its work: backups in time, restore drills, checks of the audit chain, retention,
// and a look at disks and certificates.
//
// Worker does it within the running service. Drill and Once do one thing when a person asks for it. State says how all of it
// stands, for people and, as a prometheus.Collector, for measurements. Every run is a row of the store with an audit record.
package upkeep
