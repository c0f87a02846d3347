package dicomio

import (
	"errors"
	"fmt"
)

// The kinds of refusal. Each refused file gives exactly one of them, with the byte offset and the tag, never with
// values from the file.
var (
	// ErrNotDICOM says that the bytes are no DICOM file and no bare data set.
	ErrNotDICOM = errors.New("not a DICOM file")
	// ErrTruncated says that the bytes end before the data set does.
	ErrTruncated = errors.New("DICOM file is cut short")
	// ErrLimit says that a limit on size, count or depth is exceeded.
	ErrLimit = errors.New("DICOM file exceeds a limit")
	// ErrTransferSyntax says that the transfer syntax isn't one of those this package reads or writes.
	ErrTransferSyntax = errors.New("transfer syntax is not supported")
	// ErrBroken says that the encoding contradicts itself or the standard.
	ErrBroken = errors.New("DICOM encoding is broken")
)

// refuse makes the one-level error text of a refusal.
func refuse(kind error, what string, offset int, t Tag) error {
	return fmt.Errorf("%w: %s at byte %d, element %v", kind, what, offset, t)
}
