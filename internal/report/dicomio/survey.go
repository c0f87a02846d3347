package dicomio

import "bytes"

// portion is how many encoded bytes the library is given at a time. Larger sequences are taken apart before.
const portion = 64 << 10

// What the decoded data set costs in memory, on a 64-bit machine.
const (
	costElement = 120 // one Element
	costItem    = 24  // one DataSet
	costText    = 16  // one string of Values
	costNumber  = 48  // one number: binary in the library and in Floats, and as text
)

// survey is what one complete walk by the guard found.
type survey struct {
	elements, items int
	large           map[int]struct{} // offsets of the sequences and items larger than a portion
	padding         int
	odd             Tag
}

// inspect walks the whole data set and refuses what must not reach the library.
func inspect(w *walker) (survey, error) { return inspectWith(w, nil) }

// inspectWith shows each token to see, when there is one.
func inspectWith(w *walker, see func(token)) (survey, error) {
	s := survey{large: map[int]struct{}{}}
	budget := w.lim.DecodedBase + w.lim.DecodedFactor*int64(len(w.data))
	for {
		tok, err := w.next()
		if err != nil {
			return s, err
		}
		if see != nil {
			see(tok)
		}
		switch tok.event {
		case eventEnd:
			s.padding, s.odd = w.padding, w.odd
			return s, nil
		case eventElement, eventSequence:
			s.elements++
			if tok.tag.Group() == 2 && len(w.stack) == 0 {
				return s, refuse(ErrBroken, "file meta element in the data set", tok.start, tok.tag)
			}
			budget -= costElement + w.valueCost(tok)
		case eventItem:
			s.items++
			budget -= costItem
		case eventSequenceEnd, eventItemEnd:
			if tok.end-tok.start > portion {
				s.large[tok.start] = struct{}{}
			}
		}
		if budget < 0 {
			return s, refuse(ErrLimit, "data set too dense to decode", tok.start, tok.tag)
		}
	}
}

// valueCost is what the value of an element takes once decoded.
func (w *walker) valueCost(tok token) int64 {
	if tok.event != eventElement || tok.fragments || tok.end == tok.value {
		return 0
	}
	size := int64(tok.end - tok.value)
	switch {
	case tok.vr.numeric():
		return size / int64(tok.vr.size()) * costNumber
	case tok.vr.kind == kindText || tok.vr.kind == kindTexts:
		// The library splits every text, then it is split again by the rules of its VR.
		if _, known := w.dictionary(tok.tag); !known {
			size *= 2 // kept as bytes besides
		}
		return size + costText + 2*costText*int64(bytes.Count(w.data[tok.value:tok.end], []byte{'\\'}))
	}
	return size
}
