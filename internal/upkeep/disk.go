package upkeep

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"syscall"
)

// Disk is how full the disk of a folder is.
type Disk struct {
	Name        string // what the folder is for: store, backup
	Free, Total int64  // bytes; Free is what the program may use
}

// Share is the free share of the disk, 0 to 1.
func (d Disk) Share() float64 {
	if d.Total <= 0 {
		return 0
	}
	return float64(d.Free) / float64(d.Total)
}

// diskOf looks at the disk of a folder, or of the nearest one above it that exists.
func diskOf(name, dir string) (Disk, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return Disk{}, err
	}
	for {
		var s syscall.Statfs_t
		err := syscall.Statfs(dir, &s)
		if errors.Is(err, fs.ErrNotExist) && filepath.Dir(dir) != dir {
			dir = filepath.Dir(dir)
			continue
		}
		if err != nil {
			return Disk{}, fmt.Errorf("look at the disk of the %s: %w", name, err)
		}
		size := int64(s.Bsize)
		return Disk{Name: name, Free: int64(s.Bavail) * size, Total: int64(s.Blocks) * size}, nil
	}
}
