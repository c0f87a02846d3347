// Package mpps answers equipment that announces its Modality Performed Procedure Steps (PS3.4 annex F): what was begun by
// N-CREATE, and how it went on by N-SET. A step tells that a dose report must come, and carries facts and, from older
// equipment, dose totals: the only source of dose where no report follows.
package mpps
