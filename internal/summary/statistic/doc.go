// Package statistic has the statistics of summaries: percentiles and their intervals, shares and theirs, changes, and
// what may be shown at which number of values.
//
// Functions are pure; values are sorted where they say so. Equations (1) to (9) are in STATISTICS.md of package summary.
package statistic
