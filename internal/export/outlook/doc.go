// Package outlook writes what planned beams would do to skin that earlier procedures irradiated: as a document, as text and
// as a picture of directions. It takes a finished plan; what is asked of it is checked here, so that every way of asking
// gives the same numbers, notes and caution.
package outlook
