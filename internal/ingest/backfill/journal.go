package backfill

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// key names a file by path, size and time without telling its name, which may be a patient's.
type key [16]byte

func keyOf(name string, info fs.FileInfo) key {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\x00%d\x00%d", name, info.Size(), info.ModTime().UnixNano()))
	return key(sum[:len(key{})])
}

// journal is the list of files that are done: one key in hex a line. A line that a crash cut off counts as none.
type journal struct {
	done map[key]struct{}
	file *os.File
}

func openJournal(name string) (*journal, error) {
	j := &journal{done: map[key]struct{}{}}
	if name == "" {
		return j, nil
	}
	file, err := os.OpenFile(name, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	j.file = file
	whole, err := j.read()
	if err == nil {
		// New lines begin where the last whole one ends.
		err = file.Truncate(whole)
	}
	if err == nil {
		_, err = file.Seek(whole, io.SeekStart)
	}
	if err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return j, nil
}

// read takes up every whole line and gives where the last one ends.
func (j *journal) read() (whole int64, err error) {
	lines := bufio.NewReader(j.file)
	for {
		line, err := lines.ReadString('\n')
		if errors.Is(err, io.EOF) {
			return whole, nil
		}
		if err != nil {
			return whole, err
		}
		var k key
		if n, err := hex.Decode(k[:], []byte(line[:min(len(line)-1, hex.EncodedLen(len(k)))])); err != nil || n != len(k) || len(line) != hex.EncodedLen(len(k))+1 {
			return whole, fmt.Errorf("byte %d: 32 hexadecimal digits a line expected: is it a journal?", whole)
		}
		j.done[k] = struct{}{}
		whole += int64(len(line))
	}
}

func (j *journal) has(name string, info fs.FileInfo) bool {
	_, ok := j.done[keyOf(name, info)]
	return ok
}

// add notes a file as done. It is not synced: what a crash takes from the journal is kept again, which changes nothing.
func (j *journal) add(name string, info fs.FileInfo) error {
	if j.file == nil {
		return nil
	}
	k := keyOf(name, info)
	j.done[k] = struct{}{}
	if _, err := j.file.WriteString(hex.EncodeToString(k[:]) + "\n"); err != nil {
		return fmt.Errorf("write journal: %w", err)
	}
	return nil
}

func (j *journal) close() error {
	if j.file == nil {
		return nil
	}
	return j.file.Close()
}
