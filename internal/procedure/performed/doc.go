// Package performed tells of procedures that were performed as other systems know them: a table from the hospital's
// records, or the steps that equipment announces (MPPS). They say which dose reports must exist, and carry facts that
// reports often lack. A Step is one of them, whatever its source; Totals are the dose totals that equipment may announce
// with it, in units of their own; Read reads the table.
package performed
