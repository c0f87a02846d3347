// Package casejson writes assessments as JSON: the form of afterbeam estimate --json and of the HTTP interface. Its schema
// is api/assessment.schema.json. An absent value is null and stands beside its reason; units are in the names.
package casejson
