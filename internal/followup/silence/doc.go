// Package silence tells which devices have sent no report for longer than is their habit, so that a sender that broke is
// noticed before doses are missed.
//
// It is pure. Judge takes the days on which a device was used and says how long it is usually not, and whether the time
// since its last day is longer than that.
package silence
