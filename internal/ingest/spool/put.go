package spool

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"strings"
	"time"

	"afterbeam/internal/ingest"
	"afterbeam/internal/store"
	"afterbeam/internal/store/object"
)

// The folders below the watched one.
const (
	accepted    = "accepted"
	quarantined = "quarantine"
	refused     = "refused"
)

// put moves a file by what Keep said of it.
func (f *Folder) put(name string, receipt store.Receipt, err error) error {
	switch {
	case errors.Is(err, ingest.ErrRefused), errors.Is(err, object.ErrTooLarge):
		return f.putAside(refused, name, "not kept", err.Error(), "")
	case err != nil:
		return err
	case receipt.State == store.ReceiptQuarantined, receipt.State == store.ReceiptDiscarded:
		return f.putAside(quarantined, name, string(receipt.State), receipt.Reason, receipt.ID)
	}
	day := path.Join(accepted, f.cfg.Now().Format(time.DateOnly))
	if err := f.root.MkdirAll(day, 0o700); err != nil {
		return fmt.Errorf("make folder of the day: %w", plain(err))
	}
	// The same receipt has the same bytes: a file of that name may be replaced.
	if err := f.root.Rename(name, path.Join(day, receipt.ID+".dcm")); err != nil {
		return fmt.Errorf("move to %s: %w", day, plain(err))
	}
	f.cfg.Log.Info("file accepted", "door", door, "receipt", receipt.ID)
	return nil
}

// putAside moves a file that is no usable report, with the reason beside it. The reason is written first, so that no file
// lies there without one.
func (f *Folder) putAside(dir, name, word, reason, receipt string) error {
	to, err := f.free(dir, name)
	if err != nil {
		return err
	}
	text := fmt.Sprintf("%s %s: %s\n", f.cfg.Now().Format(time.RFC3339), word, reason)
	if receipt != "" {
		text += "receipt " + receipt + "\n"
	}
	if err := f.root.WriteFile(to+reasonSuffix, []byte(text), 0o600); err != nil {
		return fmt.Errorf("write reason: %w", plain(err))
	}
	if err := f.root.Rename(name, to); err != nil {
		return fmt.Errorf("move to %s: %w", dir, errors.Join(plain(err), f.root.Remove(to+reasonSuffix)))
	}
	f.cfg.Log.Warn("file put aside", "door", door, "folder", dir, "receipt", receipt, "reason", reason)
	return nil
}

const reasonSuffix = ".reason.txt"

// mostAlike is how many files of one name a folder holds.
const mostAlike = 10_000

// free gives a name in the folder that no file has yet: the file's own, or one with a number before its ending.
func (f *Folder) free(dir, name string) (string, error) {
	ending := path.Ext(name)
	stem := strings.TrimSuffix(name, ending)
	for n := 1; n <= mostAlike; n++ {
		candidate := path.Join(dir, name)
		if n > 1 {
			candidate = path.Join(dir, fmt.Sprintf("%s-%d%s", stem, n, ending))
		}
		if _, err := f.root.Lstat(candidate); errors.Is(err, fs.ErrNotExist) {
			return candidate, nil
		} else if err != nil {
			return "", fmt.Errorf("look into %s: %w", dir, plain(err))
		}
	}
	return "", fmt.Errorf("%s holds %d files of one name: clear it", dir, mostAlike)
}
