// Package level compares what a procedure delivered with follow-up levels.
//
// Levels are data: rows of named schemes, each with its source and how it is known. A level prompts people to look; it is
// no threshold for injury, no sign of error, and nothing is ever allowed or forbidden by it. A reader needs three things:
// Default gives the rows on at first start, Evaluate compares, and a State is never better than what is known - unknown is
// not below.
package level
