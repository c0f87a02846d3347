// Package monthly gathers from the store what the summary of a period is made from, and has it made.
//
// A reader needs three things: Ask says which period and for whom, Make gives the summary, and Input what it was made from.
// It computes no statistic itself: package summary does.
package monthly
