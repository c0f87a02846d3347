// Package roll takes in the hospital's roll of performed procedures: a table, line by line, good lines into the store,
// bad ones told with their number and what was expected. Import is all of it; the program and the HTTP interface call it.
package roll
