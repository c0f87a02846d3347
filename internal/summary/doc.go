// Package summary says what a period - a month, a quarter, a year - looked like: counts, percentiles, rates, control
// charts, comparison with reference levels, follow-up and what is to be reviewed.
//
// It is pure. A reader needs three things: Case is one procedure as summaries need it, Summarise makes a Summary of an
// Input, and a Summary is printed as it is by everything that shows one. Each statistic carries the number of values it
// rests on, the name of its method, its interval where there is one, and what is withheld and why. The equations are in
// STATISTICS.md; comments cite their numbers.
//
// A summary is about groups and informs people. It judges no case, no patient and no operator.
package summary
