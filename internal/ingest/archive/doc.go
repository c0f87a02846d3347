// Package archive turns what the pipeline made into bytes for the store and back: read reports, assessed procedures and
// skin dose maps. The bytes are compressed and the same for the same content, and they hold no patient's name, number or
// birth date: those stand in the store's identity table alone.
package archive
