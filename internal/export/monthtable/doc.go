// Package monthtable gives a summary as one table with a number a row: what it is about, which statistic, the value with its
// interval, of how many cases, and why it is absent where it is. Filters and pivots of a spreadsheet make every view from it.
//
// A reader needs Write, which writes the table in any format of package table.
package monthtable
