// Package metric is the one table of what the service measures and of what is an alarm.
//
// Collectors take names, labels and help texts from it by Desc, Counter, Gauge and Histogram, so that what is documented is what is
// exposed. Alarms are conditions on these measurements: Raised tells which hold now, WriteRules writes them as alerting rules
// for Prometheus, Write writes all of it as Markdown.
package metric
