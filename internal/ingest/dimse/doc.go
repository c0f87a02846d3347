// Package dimse is the door for equipment and archives that send over the DICOM network: C-ECHO and C-STORE, plain or
// encrypted.
//
// A Door answers those who call it by its AE title and, where Callers are listed, are among them. What it can do is one
// table of Services: which SOP classes, in which transfer syntaxes, with which messages. Storage gives those of C-STORE;
// other services stand beside it in the same table, and the conformance statement is printed from it.
//
// An object is acknowledged when its bytes are on stable storage: its data set unchanged, behind a preamble and file meta
// of our own. The status of each answer comes from one table, see Status.
package dimse
