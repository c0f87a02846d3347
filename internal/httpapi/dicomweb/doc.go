// Package dicomweb is the DICOMweb origin server (PS3.18): dose reports come in by Store (STOW-RS), and kept ones are found
// by Search (QIDO-RS) and got back by Retrieve (WADO-RS).
//
// Three things a reader needs. Every part of a Store request goes through the same keeper as at any other door, one part
// after another, so that memory is bounded by one object whatever the request's size. A UID or a date may stand in a URL,
// a patient's identifier never: such a key is refused with the place where patients are searched. And an object goes out
// as it came in, byte for byte, but for a preamble that is not zero.
//
// The package knows nothing of tokens and roles; httpapi mounts Operations behind its checks. Facts is what a conformance
// statement says about all this, from the tables that the code itself works by.
package dicomweb
