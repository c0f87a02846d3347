// Package table writes one table of typed columns as the files that people and programs want: a workbook (XLSX), CSV for
// spreadsheets and CSV for machines with a schema. The rows come one by one and none is kept, so that a table may be of any
// length; only a workbook has an end, MaxSheetRows.
//
// A reader needs three things: a Table says what the columns mean and where the rows come from, Open gives a Writer of one
// Format, and Row takes the Values of one row in the order of the columns. All files of a table have the same rows in the same
// order with the same digits; the digest of the machine's CSV stands in each of them.
//
// What is absent is an empty cell. A column that may lack values for different reasons is Reasoned and brings a second column
// along that says why.
package table
