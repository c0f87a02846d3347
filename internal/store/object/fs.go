package object

import (
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// File is an open file of an FS.
type File interface {
	io.ReadWriteCloser
	Name() string
	Sync() error
}

// FS is the part of a file system that a Store needs. Tests put one in that loses unsynced writes or fails the n-th
// call.
type FS interface {
	MkdirAll(dir string) error
	CreateTemp(dir string) (File, error)
	Open(name string) (File, error)
	Link(from, to string) error
	Remove(name string) error
	SyncDir(dir string) error
	Walk(dir string, visit func(name string, size int64) error) error
}

// Disk is the machine's own file system.
type Disk struct{}

// MkdirAll makes dir, readable by its owner alone, since reports hold patient data.
func (Disk) MkdirAll(dir string) error { return os.MkdirAll(dir, 0o700) }

// CreateTemp opens a new file with a name of its own in dir.
func (Disk) CreateTemp(dir string) (File, error) { return os.CreateTemp(dir, "arrival-*") }

// Open opens a file for reading.
func (Disk) Open(name string) (File, error) { return os.Open(name) }

// Link gives a file a second name; it fails with fs.ErrExist when that name is taken.
func (Disk) Link(from, to string) error { return os.Link(from, to) }

// Remove takes a name away.
func (Disk) Remove(name string) error { return os.Remove(name) }

// SyncDir makes the names in dir durable.
func (Disk) SyncDir(dir string) (err error) {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer func() {
		if e := d.Close(); err == nil {
			err = e
		}
	}()
	return d.Sync()
}

// Walk visits every regular file below dir in lexical order.
func (Disk) Walk(dir string, visit func(name string, size int64) error) error {
	return filepath.WalkDir(dir, func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		info, err := entry.Info()
		if err != nil {
			return err
		}
		return visit(name, info.Size())
	})
}
