// Package paperhtml writes a paper as one HTML document that needs nothing else: the same tree as package paperpdf, with its
// headings, table headings, lists and the words for its pictures, for those who have it read to them. The same document gives
// the same bytes.
package paperhtml
