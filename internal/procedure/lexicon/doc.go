// Package lexicon says what kind of procedure a report is about: from codes, descriptions and protocol names to a
// procedure class with its region, and from target region codes to places on the body.
//
// The tables are data that a site can replace by its own file. What matches nothing is "unclassified": its estimates get
// the widest ranges. A reader needs three things: Default, Parse for a site's file, and Classify.
package lexicon
