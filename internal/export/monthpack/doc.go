// Package monthpack says a summary in words, tables and control charts for the people who discuss it: sections in the order of
// a meeting, completeness first. It computes nothing; every number is the summary's, printed once.
//
// A reader needs three things: Sections gives the parts for a page, Write the whole as PDF for paper, and Chart draws one control
// chart. Everything is readable in black and white.
package monthpack
