package dicomio

import (
	"bytes"
	"compress/flate"
	"errors"
	"fmt"
	"io"
)

// inflate gives the data set behind the file meta of a deflated file (PS3.5 section A.5). It inflates twice, first only
// counting, so that memory is taken once and for what is really there.
func inflate(deflated []byte, lim Limits) ([]byte, error) {
	size, err := inflatedSize(deflated, lim)
	if err != nil {
		return nil, err
	}
	out := make([]byte, size)
	if _, err := io.ReadFull(flate.NewReader(bytes.NewReader(deflated)), out); err != nil {
		return nil, fmt.Errorf("%w: deflated data set", ErrBroken)
	}
	return out, nil
}

func inflatedSize(deflated []byte, lim Limits) (int64, error) {
	src := bytes.NewReader(deflated)
	in := flate.NewReader(src)
	var size int64
	chunk := make([]byte, 32<<10)
	for {
		n, err := in.Read(chunk)
		size += int64(n)
		used := int64(len(deflated) - src.Len())
		switch {
		case size > lim.InflatedBytes:
			return 0, fmt.Errorf("%w: data set inflates to more than %d bytes", ErrLimit, lim.InflatedBytes)
		case size > inflatedFree && size > used*lim.InflatedRatio:
			return 0, fmt.Errorf("%w: data set inflates to more than %d times its size", ErrLimit, lim.InflatedRatio)
		case errors.Is(err, io.EOF):
			return size, padded(deflated[len(deflated)-src.Len():])
		case errors.Is(err, io.ErrUnexpectedEOF):
			return 0, fmt.Errorf("%w: deflated data set ends early", ErrTruncated)
		case err != nil:
			return 0, fmt.Errorf("%w: deflated data set", ErrBroken)
		}
	}
}

// padded wants nothing but zeros behind the deflated stream.
func padded(rest []byte) error {
	if len(bytes.TrimLeft(rest, "\x00")) > 0 {
		return fmt.Errorf("%w: bytes behind the deflated data set", ErrBroken)
	}
	return nil
}
