package store

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
)

// folderLock keeps two processes from serving one store. The system lets it go when the process ends, however it ends.
type folderLock struct{ file *os.File }

func lockFolder(dir string) (*folderLock, error) {
	file, err := os.OpenFile(filepath.Join(dir, "lock"), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("open lock of the store: %w", err)
	}
	if err := syscall.Flock(int(file.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		return nil, errors.Join(fmt.Errorf("%w: folder %q", ErrServed, dir), file.Close())
	}
	return &folderLock{file}, nil
}

func (l *folderLock) release() error {
	if l == nil {
		return nil
	}
	if err := l.file.Close(); err != nil && !errors.Is(err, os.ErrClosed) {
		return err
	}
	return nil
}
