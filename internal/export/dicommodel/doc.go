// Package dicommodel writes data sets in the DICOM JSON model (PS3.18 annex F) and the native XML model (PS3.19 annex A.1).
//
// Both show every element with its VR. Text is UTF-8, so that a declared character set is shown as ISO_IR 192, whatever
// the object itself uses. Numbers stand as numbers where JSON can hold them and as text where it cannot (no number in a
// decimal string, not-a-number, integers beyond 53 bits). Values that are not decoded are base64 in place; there are no
// links to bulk data. Same data set, same bytes.
package dicommodel
