// Package dicomio turns received bytes into a data set and back, so that nothing a sender can write harms the reader.
//
// Read inflates under a cap, walks every byte once without allocating (the guard: magic, transfer syntax, every length
// inside its parent, every undefined length closed, depth, element and item counts, the end exactly at the end) and only
// then lets the DICOM library decode values, in small portions of one clean dialect, comparing what comes out with
// what the guard saw. Identify answers "what is this object" by the guard's walk alone. Write makes Part 10 files.
//
// Three things a reader needs to know. Text in a DataSet is valid UTF-8 with padding removed; whatever had to be
// assumed to get there is told in File.Repairs. Group lengths, trailing padding and the bytes of pixel data are not
// kept. And a file cut exactly between two top-level elements is a well-formed shorter data set that no reader of the
// encoding alone can recognise: who needs an element asks for it.
//
// It is the only package that sees the DICOM library.
package dicomio
