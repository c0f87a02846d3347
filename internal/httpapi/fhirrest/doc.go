// Package fhirrest is the RESTful interface of HL7 FHIR R4: what is stored is read and searched as resources of export/fhir.
//
// Three things a reader needs. Operations is the one table: the routes come from it, and so does the CapabilityStatement, which
// can say nothing else. A patient's identifier never stands in a URL: a search by it is a POST with the identifier in the body,
// and the links in its answer name the patient by the store's id. And nothing is guessed: an identifier that several persons
// have is refused, and a procedure whose report lacks what a profile demands is named in an OperationOutcome.
//
// The package knows nothing of tokens and roles; httpapi mounts Operations behind its checks.
package fhirrest
