package dicomio

import (
	"bufio"
	"bytes"
	"cmp"
	"encoding/binary"
	"slices"

	"github.com/suyashkumar/dicom"
)

// mark is what the guard saw where the library must find the same: an element, or an item of a sequence.
type mark struct {
	tag        Tag
	vr         representation
	known      bool // in the dictionary
	item       bool
	offset     int // in the file, for error texts
	value, end int // in the portion
}

// builder makes a data set of a second walk. It rewrites the elements in explicit VR little endian with undefined
// lengths, the one dialect the library reads without fault, and lets it decode a portion at a time; sequences larger
// than a portion it takes apart itself, so that the library never holds more than a portion.
type builder struct {
	w     *walker
	large map[int]struct{}
	plain []byte // the portion in the making, behind portionHead
	marks []mark
	src   bytes.Reader
	buf   *bufio.Reader
	words words
	notes *notes
	// headerOnly leaves the content tree of a structured report out.
	headerOnly bool
}

// portionHead makes a portion a file of its own: preamble, mark, group length and transfer syntax.
var portionHead = func() []byte {
	head := append(make([]byte, preamble), "DICM"...)
	head = append(head, 2, 0, 0, 0, 'U', 'L', 4, 0, 28, 0, 0, 0)
	head = append(head, 2, 0, 0x10, 0, 'U', 'I', 20, 0)
	return append(head, ExplicitLittleEndian+"\x00"...)
}()

const portionHeadElements = 2

func newBuilder(w *walker, large map[int]struct{}, n *notes) *builder {
	b := &builder{w: w, large: large, notes: n, words: newWords()}
	b.buf = bufio.NewReaderSize(&b.src, 4096)
	b.reset()
	return b
}

func (b *builder) reset() {
	b.plain = append(b.plain[:0], portionHead...)
	b.marks = b.marks[:0]
}

// assembly is a data set or item in the making.
type assembly struct {
	out DataSet
	cs  *charset // in force
}

// dataSet builds the elements up to the end of the current item or of the data set.
func (b *builder) dataSet(cs *charset) (DataSet, error) {
	a := &assembly{cs: cs}
	for {
		tok, err := b.w.next()
		if err != nil {
			return nil, err
		}
		if tok.event == eventEnd || tok.event == eventItemEnd {
			if err := b.flush(a); err != nil {
				return nil, err
			}
			return b.ordered(a.out, tok.start)
		}
		if b.headerOnly && tok.tag == tagContent && tok.event == eventSequence {
			err = b.skip()
		} else {
			err = b.take(a, tok)
		}
		if err != nil {
			return nil, err
		}
	}
}

// take builds one element or sequence: itself, or by writing it into the portion.
func (b *builder) take(a *assembly, tok token) error {
	switch {
	case dropped(tok.tag):
		return nil
	case tok.tag == tagCharacterSet && tok.event == eventElement:
		if err := b.flush(a); err != nil {
			return err
		}
		e := b.characterSet(tok)
		a.out, a.cs = append(a.out, e), newCharset(e.Values, b.notes)
		return nil
	case tok.event == eventSequence && b.isLarge(tok):
		if err := b.flush(a); err != nil {
			return err
		}
		items, err := b.items(tok, a.cs)
		a.out = append(a.out, Element{Tag: tok.tag, VR: "SQ", Items: items})
		return err
	}
	if isText := tok.vr.kind == kindText || tok.vr.kind == kindTexts; b.isLong(tok) && (isText || tok.vr.kind == kindBytes) {
		if err := b.flush(a); err != nil {
			return err
		}
		a.out = append(a.out, b.long(tok, a.cs))
		return nil
	}
	if err := b.emit(tok); err != nil || len(b.plain) <= portion {
		return err
	}
	return b.flush(a)
}

// isLong tells whether one value is longer than a portion. What holds such a value is large, so it is met here and not
// inside of what goes to the library as a whole.
func (b *builder) isLong(tok token) bool {
	return tok.event == eventElement && !tok.fragments && tok.tag != tagPixelData && tok.end-tok.value > portion
}

// long decodes a long text or keeps long bytes without the library, which would hold several copies.
func (b *builder) long(tok token, cs *charset) Element {
	value := b.w.data[tok.value:tok.end]
	e := Element{Tag: tok.tag, VR: tok.vr.name}
	if tok.vr.kind != kindBytes {
		e.Values = b.words.texts(cs.decode(string(value), mark{tag: tok.tag, vr: tok.vr}, b.notes), tok.vr)
	}
	if _, known := dictionaryVR(tok.tag); !known || tok.vr.kind == kindBytes {
		e.Bytes = bytes.Clone(value)
		if tok.dialect.big {
			swap(e.Bytes, tok.vr.word)
		}
	}
	return e
}

func (b *builder) isLarge(tok token) bool {
	_, ok := b.large[tok.start]
	return ok
}

// dropped elements are bookkeeping of the encoding: group lengths and trailing padding.
func dropped(t Tag) bool { return t.Number() == 0 || t == tagTrailingPadding }

// characterSet reads Specific Character Set without the library, which would act on it.
func (b *builder) characterSet(tok token) Element {
	e := Element{Tag: tok.tag, VR: tok.vr.name}
	if value := b.w.data[tok.value:tok.end]; len(value) > 0 {
		plain := charset{}
		e.Values = b.words.texts(plain.decode(string(value), mark{tag: tok.tag, vr: tok.vr}, b.notes), tok.vr)
	}
	return e
}

// items builds a large sequence; the walk stands behind its header. Small items go to the library together, as a
// sequence of their own; large ones are taken apart.
func (b *builder) items(header token, cs *charset) ([]DataSet, error) {
	var out []DataSet
	for {
		tok, err := b.w.next()
		if err != nil {
			return nil, err
		}
		switch {
		case tok.event != eventItem: // the end of the sequence
			return out, b.flushItems(&out, cs)
		case b.isLarge(tok):
			if err := b.flushItems(&out, cs); err != nil {
				return nil, err
			}
			item, err := b.dataSet(cs)
			if err != nil {
				return nil, err
			}
			out = append(out, item)
			continue
		case len(b.marks) == 0:
			b.openSequence(header)
		}
		if err := b.emit(tok); err != nil {
			return nil, err
		}
		if len(b.plain) > portion {
			if err := b.flushItems(&out, cs); err != nil {
				return nil, err
			}
		}
	}
}

// flushItems closes the sequence in the portion and appends its items.
func (b *builder) flushItems(out *[]DataSet, cs *charset) error {
	if len(b.marks) == 0 {
		return nil
	}
	b.delimiter(tagSequenceEnd, 0)
	a := assembly{cs: cs}
	if err := b.flush(&a); err != nil {
		return err
	}
	*out = append(*out, a.out[0].Items...)
	return nil
}

func (b *builder) openSequence(tok token) {
	b.marks = append(b.marks, mark{tag: tok.tag, vr: tok.vr, offset: tok.start})
	b.header(tok.tag, "SQ", true, undefinedLength)
}

// emit rewrites one element, or one whole sequence or item, into the portion.
func (b *builder) emit(tok token) error {
	depth := 0
	for {
		switch tok.event {
		case eventElement:
			if !dropped(tok.tag) {
				b.emitElement(tok)
			}
		case eventSequence:
			depth++
			b.openSequence(tok)
		case eventItem:
			depth++
			b.marks = append(b.marks, mark{tag: tok.tag, item: true, offset: tok.start})
			b.delimiter(tagItem, undefinedLength)
		case eventItemEnd:
			depth--
			b.delimiter(tagItemEnd, 0)
		case eventSequenceEnd:
			depth--
			b.delimiter(tagSequenceEnd, 0)
		case eventEnd: // never inside a sequence
		}
		if depth == 0 {
			return nil
		}
		var err error
		if tok, err = b.w.next(); err != nil {
			return err
		}
	}
}

// maxShort is the longest value that a 16-bit length can tell; lengths are even.
const maxShort = 0xFFFE

// emitElement rewrites one value: texts as UT, whose length has 32 bits, numbers under their VR, all else as bytes.
func (b *builder) emitElement(tok token) {
	m := mark{tag: tok.tag, vr: tok.vr, offset: tok.start}
	_, m.known = dictionaryVR(tok.tag)
	value := b.w.data[tok.value:tok.end]
	if tok.fragments || tok.tag == tagPixelData {
		value, m.vr = nil, representation{name: tok.vr.name, kind: kindBytes, long: true, word: 1}
	}
	as, long := "UN", true
	switch {
	case m.vr.kind == kindText || m.vr.kind == kindTexts:
		as = "UT"
	case m.vr.numeric() && !m.vr.long && len(value) > maxShort:
		m.vr = unknown // PS3.5 section 6.2.2: what doesn't fit a 16-bit length is UN
	case m.vr.numeric() && !m.vr.long:
		as, long = m.vr.name, false
	}
	b.header(tok.tag, as, long, uint32(len(value)))
	m.value = len(b.plain)
	b.plain = append(b.plain, value...)
	m.end = len(b.plain)
	if tok.dialect.big {
		swap(b.plain[m.value:m.end], tok.vr.word)
	}
	b.marks = append(b.marks, m)
}

// swap turns the bytes of each word around.
func swap(b []byte, word int) {
	for ; word > 1 && len(b) >= word; b = b[word:] {
		slices.Reverse(b[:word])
	}
}

func (b *builder) header(t Tag, vr string, long bool, length uint32) {
	b.plain = binary.LittleEndian.AppendUint16(b.plain, t.Group())
	b.plain = binary.LittleEndian.AppendUint16(b.plain, t.Number())
	b.plain = append(b.plain, vr...)
	if long {
		b.plain = append(b.plain, 0, 0)
		b.plain = binary.LittleEndian.AppendUint32(b.plain, length)
		return
	}
	b.plain = binary.LittleEndian.AppendUint16(b.plain, uint16(length))
}

func (b *builder) delimiter(t Tag, length uint32) {
	b.plain = binary.LittleEndian.AppendUint16(b.plain, t.Group())
	b.plain = binary.LittleEndian.AppendUint16(b.plain, t.Number())
	b.plain = binary.LittleEndian.AppendUint32(b.plain, length)
}

// flush lets the library decode the portion and appends what it made.
func (b *builder) flush(a *assembly) error {
	if len(b.marks) == 0 {
		return nil
	}
	defer b.reset()
	parsed, err := b.parse()
	if err != nil {
		return err
	}
	c := conversion{b: b, marks: b.marks}
	els, err := c.elements(parsed, a.cs)
	if err != nil {
		return err
	}
	if len(c.marks) > 0 {
		return c.mismatch()
	}
	if a.out == nil {
		a.out = els // of exactly the right size
		return nil
	}
	a.out = append(a.out, els...)
	return nil
}

// parse runs the library, whose panics end here.
func (b *builder) parse() (els []*dicom.Element, err error) {
	offset, t := b.marks[0].offset, b.marks[0].tag
	defer func() {
		if recover() != nil {
			els, err = nil, refuse(ErrBroken, "the DICOM library panicked in the portion", offset, t)
		}
	}()
	b.src.Reset(b.plain)
	b.buf.Reset(&b.src)
	ds, err := dicom.Parse(b.buf, int64(len(b.plain)), nil, dicom.SkipPixelData())
	if err != nil || len(ds.Elements) < portionHeadElements {
		return nil, refuse(ErrBroken, "the DICOM library cannot read the portion", offset, t)
	}
	return ds.Elements[portionHeadElements:], nil
}

// ordered sorts a data set whose elements came out of order, and refuses one that says the same thing twice.
func (b *builder) ordered(d DataSet, offset int) (DataSet, error) {
	byTag := func(a, b Element) int { return cmp.Compare(a.Tag, b.Tag) }
	if !slices.IsSortedFunc(d, byTag) {
		slices.SortStableFunc(d, byTag)
		b.notes.add("elements out of order were sorted", d[0].Tag)
	}
	for i := 1; i < len(d); i++ {
		if d[i].Tag == d[i-1].Tag {
			return nil, refuse(ErrBroken, "element stands twice in the data set that ends", offset, d[i].Tag)
		}
	}
	return d, nil
}
