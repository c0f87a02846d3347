// Package release makes of dose reports, and of tables of procedures and events, what may leave the department: nothing
// that names a person, a place or a day.
//
// Three things a reader needs. What is not on a list is left out: attributes by tag, content items by value type and
// concept code, coded values by code, units by spelling, so that a new or private thing never slips through; texts are
// never copied, except the device's make and number where an option says so. Names, numbers and UIDs become pseudonyms by
// a keyed hash, the same for one recipient and others for the next; every date of a patient moves back by the same number
// of days. And no dose changes: numbers are copied digit by digit.
//
// It is the Basic Application Confidentiality Profile with the options Clean Structured Content, Clean Descriptors, Retain
// Longitudinal Temporal Information Modified Dates and, when asked for, Retain Patient Characteristics and Retain Device
// Identity. Source: NEMA, DICOM PS3.15 annex E, table E.1-1 and code list 7050; how known: read.
//
// De-identified is not anonymous: who knows that somebody was treated, and how, may recognise a case by its doses. The
// recipient's agreement and local rules come first.
//
// The package is pure: same input, recipient and options, same bytes.
package release
