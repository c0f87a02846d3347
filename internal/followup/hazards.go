// Package followup holds the hazards of following patients up; the folders below it say who is asked what, and when.
package followup

import _ "embed"

// Hazards is HAZARDS.md: what can go wrong between a dose and a follow-up, what keeps it from doing harm, and which tests prove
// that. It is Markdown.
//
//go:embed HAZARDS.md
var Hazards string
