package dicomio

import (
	"bytes"
	"encoding/binary"
	"strconv"
	"strings"

	"github.com/suyashkumar/dicom"
)

// conversion turns the library's elements into ours, in step with the guard's marks.
type conversion struct {
	b     *builder
	marks []mark // still to come
}

func (c *conversion) mismatch() error {
	m := mark{}
	if len(c.marks) > 0 {
		m = c.marks[0]
	}
	return refuse(ErrBroken, "the DICOM library and the guard read different elements", m.offset, m.tag)
}

// take gives the next mark when it is for this tag.
func (c *conversion) take(t Tag, item bool) (mark, error) {
	if len(c.marks) == 0 || c.marks[0].item != item || c.marks[0].tag != t {
		return mark{}, c.mismatch()
	}
	m := c.marks[0]
	c.marks = c.marks[1:]
	return m, nil
}

func (c *conversion) elements(parsed []*dicom.Element, cs *charset) (DataSet, error) {
	out := make(DataSet, 0, len(parsed))
	for _, p := range parsed {
		m, err := c.take(Tag(p.Tag.Group)<<16|Tag(p.Tag.Element), false)
		if err != nil {
			return nil, err
		}
		e := Element{Tag: m.tag, VR: m.vr.name}
		if m.vr.kind == kindSequence {
			e.Items, err = c.items(p.Value, m, cs)
		} else {
			err = c.value(&e, p.Value, m, cs)
		}
		if err != nil {
			return nil, err
		}
		if m.tag == tagCharacterSet {
			cs = newCharset(e.Values, c.b.notes)
		}
		out = append(out, e)
	}
	return out, nil
}

func (c *conversion) items(v dicom.Value, m mark, cs *charset) ([]DataSet, error) {
	parsed, ok := v.GetValue().([]*dicom.SequenceItemValue)
	if !ok {
		return nil, c.mismatch()
	}
	if len(parsed) == 0 {
		return nil, nil
	}
	out := make([]DataSet, 0, len(parsed))
	for _, p := range parsed {
		im, err := c.take(m.tag, true)
		if err != nil {
			return nil, err
		}
		els, ok := p.GetValue().([]*dicom.Element)
		if !ok {
			return nil, c.mismatch()
		}
		d, err := c.elements(els, cs)
		if err != nil {
			return nil, err
		}
		if d, err = c.b.ordered(d, im.offset); err != nil {
			return nil, err
		}
		out = append(out, d)
	}
	return out, nil
}

// value decodes one value that isn't a sequence.
func (c *conversion) value(e *Element, v dicom.Value, m mark, cs *charset) error {
	if m.value == m.end {
		return nil
	}
	if !m.known {
		e.Bytes = bytes.Clone(c.b.plain[m.value:m.end])
	}
	switch got := v.GetValue().(type) {
	case []string:
		if m.vr.kind != kindText && m.vr.kind != kindTexts {
			return c.mismatch()
		}
		e.Values = c.b.words.texts(cs.decode(strings.Join(got, "\\"), m, c.b.notes), m.vr)
	case []int:
		e.Values = c.integers(got, m.vr)
	case []float64:
		e.Floats, e.Values = c.floats(got, m.vr)
	case []byte:
		return c.bytes(e, got, m)
	default:
		return c.mismatch()
	}
	return nil
}

func (c *conversion) integers(got []int, vr representation) []string {
	if vr.kind == kindTag {
		// The library gives a tag as group and element.
		tags := make([]int, 0, len(got)/2)
		for ; len(got) >= 2; got = got[2:] {
			tags = append(tags, got[0]<<16|got[1])
		}
		got = tags
	}
	out := c.b.words.slice(len(got))
	for i, n := range got {
		out[i] = c.b.words.keep(strconv.Itoa(n))
	}
	return out
}

// floats gives exact values: the library passes FL through its shortest decimal text, which names exactly one float32.
func (c *conversion) floats(got []float64, vr representation) ([]float64, []string) {
	bits := 64
	if vr.kind == kindFloat32 {
		bits = 32
	}
	out, texts := make([]float64, len(got)), c.b.words.slice(len(got))
	for i, f := range got {
		if bits == 32 {
			f = float64(float32(f))
		}
		out[i] = f
		texts[i] = c.b.words.keep(strconv.FormatFloat(f, 'g', -1, bits))
	}
	return out, texts
}

// bytes keeps what isn't decoded, and decodes the 64-bit integers that the library doesn't know.
func (c *conversion) bytes(e *Element, got []byte, m mark) error {
	switch m.vr.kind {
	case kindBytes:
		e.Bytes = got
	case kindUint64:
		e.Values = c.b.words.slice(len(got) / 8)
		for i := range e.Values {
			e.Values[i] = strconv.FormatUint(binary.LittleEndian.Uint64(got[8*i:]), 10)
		}
	case kindInt64:
		e.Values = c.b.words.slice(len(got) / 8)
		for i := range e.Values {
			e.Values[i] = strconv.FormatInt(int64(binary.LittleEndian.Uint64(got[8*i:])), 10)
		}
	default:
		return c.mismatch()
	}
	return nil
}
