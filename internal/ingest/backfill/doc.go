// Package backfill takes every file of a folder and of the folders below it, as when years of archived dose reports are
// brought in. The files stay where they are.
//
// It may be stopped at any time and run again: an object that came before changes nothing, and a journal lets the next run
// pass over files that were done without reading them. The journal belongs beside the store that it speaks of, because
// with a store that has lost what the journal says the files would be passed over. Files are held in memory a few at a
// time, however many there are; of a file that is done, 16 bytes are.
package backfill
