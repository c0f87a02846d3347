package object_test

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"afterbeam/internal/store/object"
)

var errInjected = errors.New("injected failure")

// failing fails its n-th call.
type failing struct {
	object.FS
	left       int
	failedSync bool
}

func (f *failing) fails() bool {
	f.left--
	return f.left == 0
}

func (f *failing) MkdirAll(dir string) error {
	if f.fails() {
		return errInjected
	}
	return f.FS.MkdirAll(dir)
}

func (f *failing) CreateTemp(dir string) (object.File, error) {
	if f.fails() {
		return nil, errInjected
	}
	file, err := f.FS.CreateTemp(dir)
	return &failingFile{file, f}, err
}

func (f *failing) Link(from, to string) error {
	if f.fails() {
		return errInjected
	}
	return f.FS.Link(from, to)
}

func (f *failing) Remove(name string) error {
	if f.fails() {
		return errInjected
	}
	return f.FS.Remove(name)
}

func (f *failing) SyncDir(dir string) error {
	if f.fails() {
		f.failedSync = true
		return errInjected
	}
	return f.FS.SyncDir(dir)
}

type failingFile struct {
	object.File
	fs *failing
}

func (f *failingFile) Write(p []byte) (int, error) {
	if f.fs.fails() {
		return 0, errInjected
	}
	return f.File.Write(p)
}

func (f *failingFile) Sync() error {
	if f.fs.fails() {
		f.fs.failedSync = true
		return errInjected
	}
	return f.File.Sync()
}

// lossy is a disk whose power goes after a number of calls. Contents not synced are torn to a random-looking half, and
// names whose folder was not synced are gone, as an ordinary journalling file system may leave them.
type lossy struct {
	root    string
	left    int
	content map[string]bool     // file (by temporary name) whose content is durable
	names   map[string]string   // linked name -> temporary name it shares its content with
	durable map[string]bool     // linked names whose folder was synced
	made    map[string]struct{} // folders made and not yet synced into the folder above
}

func newLossy(root string, calls int) *lossy {
	return &lossy{
		root: root, left: calls, content: map[string]bool{}, names: map[string]string{}, durable: map[string]bool{}, made: map[string]struct{}{},
	}
}

func (d *lossy) off() bool {
	d.left--
	return d.left < 0
}

func (d *lossy) path(name string) string {
	if strings.HasPrefix(name, d.root) {
		return name
	}
	return filepath.Join(d.root, name)
}

func (d *lossy) MkdirAll(dir string) error {
	if d.off() {
		return errInjected
	}
	p := d.path(dir)
	if _, err := os.Stat(p); err != nil {
		d.made[p] = struct{}{}
	}
	return object.Disk{}.MkdirAll(p)
}

func (d *lossy) CreateTemp(dir string) (object.File, error) {
	if d.off() {
		return nil, errInjected
	}
	file, err := object.Disk{}.CreateTemp(d.path(dir))
	return &lossyFile{file, d}, err
}

func (d *lossy) Open(name string) (object.File, error) {
	if d.off() {
		return nil, errInjected
	}
	return object.Disk{}.Open(d.path(name))
}

func (d *lossy) Link(from, to string) error {
	if d.off() {
		return errInjected
	}
	d.names[d.path(to)] = d.path(from)
	return object.Disk{}.Link(d.path(from), d.path(to))
}

func (d *lossy) Remove(name string) error {
	if d.off() {
		return errInjected
	}
	return object.Disk{}.Remove(d.path(name))
}

func (d *lossy) SyncDir(dir string) error {
	if d.off() {
		return errInjected
	}
	p := d.path(dir)
	for name := range d.names {
		if filepath.Dir(name) == p {
			d.durable[name] = true
		}
	}
	for folder := range d.made {
		if filepath.Dir(folder) == p {
			delete(d.made, folder)
		}
	}
	return nil
}

func (d *lossy) Walk(dir string, visit func(string, int64) error) error {
	return object.Disk{}.Walk(d.path(dir), visit)
}

// powerCut takes away what was never made durable.
func (d *lossy) powerCut() error {
	for name, temp := range d.names {
		_, folderLost := d.made[filepath.Dir(name)]
		if !d.durable[name] || folderLost {
			if err := os.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
			continue
		}
		if !d.content[temp] {
			if err := os.Truncate(name, 10); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
		}
	}
	return nil
}

type lossyFile struct {
	object.File
	disk *lossy
}

func (f *lossyFile) Sync() error {
	if f.disk.off() {
		return errInjected
	}
	f.disk.content[f.Name()] = true
	return nil
}
