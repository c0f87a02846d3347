// Package object keeps received bytes unchanged in files named by the SHA-256 of their content.
//
// Put writes a temporary file, fsyncs it, links it to its name and fsyncs the folder; only then are the bytes on stable
// storage. A failed fsync is never tried again: the page cache may have dropped the data, so the caller ends the process
// (Rebello et al. 2020, "Can Applications Recover from fsync Failures?", USENIX ATC). Files are gzip-compressed; Open
// checks the digest of what it gives out, so that a flipped bit is found and never served.
package object
