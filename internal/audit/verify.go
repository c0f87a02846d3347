package audit

import (
	"errors"
	"fmt"
	"iter"
)

// ErrBroken marks a chain that was changed; the text names the first bad record.
var ErrBroken = errors.New("audit chain broken")

// Verify walks records in order of their sequence and checks each against the one before. With an anchor it also wants
// the anchored record to be there unchanged, which finds a cut tail. It returns the head it reached.
func Verify(records iter.Seq2[Record, error], anchor *Head) (Head, error) {
	head := Head{Hash: Genesis}
	for r, err := range records {
		if err != nil {
			return head, err
		}
		if err := follows(r, head); err != nil {
			return head, err
		}
		head = r.Head()
		if anchor != nil && r.Sequence == anchor.Sequence && r.Hash != anchor.Hash {
			return head, fmt.Errorf("%w: record %d is not the one that was anchored", ErrBroken, r.Sequence)
		}
	}
	if anchor != nil && head.Sequence < anchor.Sequence {
		return head, fmt.Errorf("%w: record %d is missing: the chain ends before it, the anchor holds record %d", ErrBroken, head.Sequence+1, anchor.Sequence)
	}
	return head, nil
}

func follows(r Record, head Head) error {
	want := head.Sequence + 1
	switch {
	case r.Sequence != want:
		return fmt.Errorf("%w: record %d is missing, found %d", ErrBroken, want, r.Sequence)
	case r.Previous != head.Hash:
		return fmt.Errorf("%w: record %d does not follow the record before it", ErrBroken, want)
	case r.Time.Before(head.Time):
		return fmt.Errorf("%w: record %d is older than the record before it", ErrBroken, want)
	case r.Hash != r.digest():
		return fmt.Errorf("%w: record %d was changed", ErrBroken, want)
	}
	return nil
}
