// Package naming says what a site's lexicon does not know and what other rows of it would change.
//
// A reader needs three things: Unmapped, the names that no row tells; Look, what a change of rows moves; and that both look at
// names alone, so that nothing in them is about a patient.
package naming
