// Package paper says what stands on the papers of a case: the sheet for the patient, the letter to the doctor who looks after
// the patient, and the report of the physicist.
//
// A reader needs three things: Input is what a paper is made of, Compose makes a Document of it in one of the Languages, and
// the Document is a tree of blocks that a writer - PDF, HTML - sets in their order. A paper computes no dose: it prints the
// numbers of a finished assessment.
package paper
