package dicomio

import (
	"bytes"
	"encoding/binary"
)

// dialect is how elements are encoded: implicit or explicit VR, little or big endian.
type dialect struct {
	implicit, big bool
}

func (d dialect) uint16(b []byte) uint16 {
	if d.big {
		return binary.BigEndian.Uint16(b)
	}
	return binary.LittleEndian.Uint16(b)
}

func (d dialect) uint32(b []byte) uint32 {
	if d.big {
		return binary.BigEndian.Uint32(b)
	}
	return binary.LittleEndian.Uint32(b)
}

func (d dialect) tag(b []byte) Tag { return Tag(d.uint16(b))<<16 | Tag(d.uint16(b[2:])) }

// undefinedLength is the length field of a sequence or item that is closed by a delimiter, PS3.5 section 7.5.
const undefinedLength = 0xFFFFFFFF

type event uint8

const (
	eventEnd event = iota
	eventElement
	eventSequence
	eventItem
	eventItemEnd
	eventSequenceEnd
)

// token is one step of the walk. The value of an element lies at data[value:end].
type token struct {
	event      event
	tag        Tag
	vr         representation
	dialect    dialect
	start      int // offset of the header; for the end of a sequence, offset of the header of the sequence
	value, end int
	fragments  bool // encapsulated value in fragments, not kept
}

// level is an open sequence or item.
type level struct {
	tag       Tag
	item      bool
	undefined bool
	dialect   dialect
	start     int
	end       int // where it ends; of an undefined length: where the nearest defined length around it ends
	items     int
}

// walker steps through encoded elements in one pass, with its own stack of bounded height, and allocates nothing
// after its making. It is the only code that believes or doubts a length.
type walker struct {
	data    []byte
	pos     int
	end     int // the walk's end in data
	top     dialect
	lim     Limits
	stack   []level
	depth   int // open sequences
	count   int // elements and items so far
	padding int // zero bytes behind the data set
	odd     Tag // first element of odd length
	found   [64]entry
}

// entry is what the dictionary says of a tag. A report has few tags, each very often.
type entry struct {
	tag   Tag
	vr    representation
	known bool
}

// dictionary is dictionaryVR, from memory where it was asked before. Tag 0 is none that a data set may hold.
func (w *walker) dictionary(t Tag) (representation, bool) {
	const golden = 0x9E3779B1 // Knuth's multiplicative hashing by the golden ratio; the top 6 bits are the place
	e := &w.found[uint32(t)*golden>>26]
	if e.tag != t {
		e.tag = t
		e.vr, e.known = dictionaryVR(t)
	}
	return e.vr, e.known
}

func newWalker(data []byte, from int, d dialect, lim Limits) *walker {
	return &walker{data: data, pos: from, end: len(data), top: d, lim: lim, stack: make([]level, 0, 2*max(lim.Depth, 0))}
}

// next gives the next token; after eventEnd or an error it must not be called again.
func (w *walker) next() (token, error) {
	if len(w.stack) == 0 {
		if w.pos == w.end {
			return token{event: eventEnd, start: w.pos}, nil
		}
		return w.element(w.top, w.end, nil)
	}
	l := &w.stack[len(w.stack)-1]
	if w.pos == l.end {
		if l.undefined {
			return token{}, w.overrun("length undefined and never closed", l.start, l.tag, l.end)
		}
		return w.close(), nil
	}
	if l.item {
		return w.element(l.dialect, l.end, l)
	}
	return w.item(l)
}

// overrun refuses something that reaches behind its parent: when the parent is the file, the file is cut short.
func (w *walker) overrun(what string, offset int, t Tag, parentEnd int) error {
	if parentEnd == w.end {
		return refuse(ErrTruncated, what, offset, t)
	}
	return refuse(ErrBroken, what, offset, t)
}

// close pops the innermost level.
func (w *walker) close() token {
	l := w.stack[len(w.stack)-1]
	w.stack = w.stack[:len(w.stack)-1]
	t := token{event: eventSequenceEnd, tag: l.tag, start: l.start, end: w.pos}
	if l.item {
		t.event = eventItemEnd
	} else {
		w.depth--
	}
	return t
}

func (w *walker) counted(start int, t Tag) error {
	w.count++
	if w.count > w.lim.Elements {
		return refuse(ErrLimit, "too many elements", start, t)
	}
	return nil
}

// item reads what may stand in a sequence: an item, or the end of the sequence.
func (w *walker) item(l *level) (token, error) {
	start := w.pos
	if l.end-start < 8 {
		return token{}, w.overrun("item header cut off", start, l.tag, l.end)
	}
	t, length := l.dialect.tag(w.data[start:]), l.dialect.uint32(w.data[start+4:])
	w.pos += 8
	switch {
	case t == tagSequenceEnd && l.undefined && length == 0:
		return w.close(), nil
	case t != tagItem:
		return token{}, refuse(ErrBroken, "something other than an item in a sequence", start, l.tag)
	}
	l.items++
	if l.items > w.lim.ItemsPerSequence {
		return token{}, refuse(ErrLimit, "too many items in a sequence", start, l.tag)
	}
	if err := w.counted(start, l.tag); err != nil {
		return token{}, err
	}
	in := level{tag: l.tag, item: true, dialect: l.dialect, start: start, end: l.end}
	if length == undefinedLength {
		in.undefined = true
	} else if uint64(length) > uint64(l.end-w.pos) {
		return token{}, w.overrun("item longer than its sequence", start, l.tag, l.end)
	} else {
		in.end = w.pos + int(length)
	}
	w.stack = append(w.stack, in)
	return token{event: eventItem, tag: l.tag, start: start, value: w.pos}, nil
}

// element reads one element of a data set or item, or the end of an item of undefined length.
func (w *walker) element(d dialect, end int, in *level) (token, error) {
	start := w.pos
	if in == nil && w.zeroTail() {
		return token{event: eventEnd, start: w.pos}, nil
	}
	if end-start < 8 {
		return token{}, w.overrun("element header cut off", start, 0, end)
	}
	t := d.tag(w.data[start:])
	switch t.Group() {
	case 0xFFFE:
		if t == tagItemEnd && in != nil && in.undefined && d.uint32(w.data[start+4:]) == 0 {
			w.pos += 8
			return w.close(), nil
		}
		return token{}, refuse(ErrBroken, "delimiter out of place", start, t)
	case 0:
		return token{}, refuse(ErrBroken, "command element in a data set", start, t)
	}
	if err := w.counted(start, t); err != nil {
		return token{}, err
	}
	tok := token{event: eventElement, tag: t, dialect: d, start: start}
	length, err := w.header(&tok, end)
	if err != nil {
		return token{}, err
	}
	tok.value = w.pos
	if length == undefinedLength {
		return w.undefined(tok, end)
	}
	return w.defined(tok, length, end)
}

// defined goes on behind a header that tells a length.
func (w *walker) defined(tok token, length uint32, end int) (token, error) {
	if uint64(length) > uint64(end-w.pos) {
		return token{}, w.overrun("value longer than what is left", tok.start, tok.tag, end)
	}
	tok.end = w.pos + int(length)
	if tok.vr.kind == kindSequence {
		return w.open(tok, tok.end, false)
	}
	if length&1 == 1 && w.odd == 0 {
		w.odd = tok.tag
	}
	if tok.vr.numeric() && int(length)%tok.vr.size() != 0 {
		return token{}, refuse(ErrBroken, "length does not fit the value representation", tok.start, tok.tag)
	}
	w.pos = tok.end
	return tok, nil
}

// zeroTail tells whether nothing but zeros is left of the file: padding to a block size.
func (w *walker) zeroTail() bool {
	rest := w.data[w.pos:w.end]
	if len(rest) >= 4 && (rest[0]|rest[1]|rest[2]|rest[3]) != 0 {
		return false
	}
	if len(bytes.TrimLeft(rest, "\x00")) > 0 {
		return false
	}
	w.padding = len(rest)
	w.pos = w.end
	return true
}

// header reads VR and length (PS3.5 section 7.1) and leaves the walk at the value.
func (w *walker) header(tok *token, end int) (uint32, error) {
	d, at := tok.dialect, tok.start+4
	if d.implicit {
		tok.vr, _ = w.dictionary(tok.tag)
		w.pos = at + 4
		return d.uint32(w.data[at:]), nil
	}
	var known bool
	if tok.vr, known = vrNamed(w.data[at : at+2]); !known {
		return 0, refuse(ErrBroken, "unknown value representation", tok.start, tok.tag)
	}
	if !tok.vr.long {
		w.pos = at + 4
		return uint32(d.uint16(w.data[at+2:])), nil
	}
	if end-at < 8 {
		return 0, w.overrun("element header cut off", tok.start, tok.tag, end)
	}
	w.pos = at + 8
	length := d.uint32(w.data[at+4:])
	if tok.vr.name == "UN" {
		// What a node did not know it wrote as UN, whose value is implicit VR little endian (PS3.5 section 6.2.2
		// note 2, CP-246); a standard attribute is read as what it is.
		tok.dialect = dialect{implicit: true}
		tok.vr, _ = w.dictionary(tok.tag)
	}
	return length, nil
}

// undefined goes on behind a header of undefined length: a sequence, or an encapsulated value in fragments.
func (w *walker) undefined(tok token, end int) (token, error) {
	switch {
	case tok.vr.kind == kindSequence:
		return w.open(tok, end, true)
	case tok.tag == tagPixelData || tok.vr.name == "OB" || tok.vr.name == "OW":
		return w.skipFragments(tok, end)
	case tok.vr.name == "UN":
		tok.vr, _ = binaryVR([]byte("SQ"))
		return w.open(tok, end, true)
	}
	return token{}, refuse(ErrBroken, "undefined length of a value that cannot have one", tok.start, tok.tag)
}

// open pushes a sequence.
func (w *walker) open(tok token, end int, undefined bool) (token, error) {
	if tok.tag == tagPixelData || dropped(tok.tag) {
		return token{}, refuse(ErrBroken, "sequence where there cannot be one", tok.start, tok.tag)
	}
	w.depth++
	if w.depth > w.lim.Depth {
		return token{}, refuse(ErrLimit, "sequences nested too deeply", tok.start, tok.tag)
	}
	w.stack = append(w.stack, level{
		tag: tok.tag, undefined: undefined, dialect: tok.dialect, start: tok.start, end: end,
	})
	tok.event = eventSequence
	return tok, nil
}

// skipFragments passes over the fragments of an encapsulated value, PS3.5 section A.4.
func (w *walker) skipFragments(tok token, end int) (token, error) {
	for {
		start := w.pos
		if end-start < 8 {
			return token{}, w.overrun("fragments never closed", tok.start, tok.tag, end)
		}
		t, length := tok.dialect.tag(w.data[start:]), tok.dialect.uint32(w.data[start+4:])
		w.pos += 8
		if t == tagSequenceEnd && length == 0 {
			tok.end, tok.fragments = w.pos, true
			return tok, nil
		}
		if t != tagItem {
			return token{}, refuse(ErrBroken, "something other than a fragment", start, tok.tag)
		}
		if uint64(length) > uint64(end-w.pos) {
			return token{}, w.overrun("fragment longer than what is left", start, tok.tag, end)
		}
		w.pos += int(length)
	}
}
