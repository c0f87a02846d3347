// Package fhir writes what is known of a procedure as resources of HL7 FHIR R4 (4.0.1), in JSON.
//
// Three things a reader needs. Summary is the Radiation Dose Summary of the guide hl7.fhir.uv.radiation-dose-summary 1.0.0:
// what the equipment totals, as it was reported, and nothing else. Estimates are the program's own - peak skin dose, effective
// dose, organ doses - each an Observation of its own with method, range and caution, derived from the summary and never
// mixed with its totals. Transaction is all of one procedure for another server.
//
// Patient, persons and studies are told by identifier: whose resources they are elsewhere is for the receiver to find. What a
// profile demands and the report does not have is never invented: ErrUnmet says what is missing.
//
// The package is pure: no clock, no network, no store.
package fhir
