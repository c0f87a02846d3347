// Package paperpdf writes a paper as PDF: real text in embedded fonts, in the order in which it is read, with title and
// language, A4 or Letter. The same document gives the same bytes.
//
// A reader needs two things: Write writes a document, and Drawable tells whether the fonts have every letter of a text. A text
// that they have not is refused, never drawn as boxes. The PDF has no structure tree; package paperhtml writes the same
// document for those who need one.
package paperpdf
