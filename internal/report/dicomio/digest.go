package dicomio

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"hash"
	"math"
	"strconv"
)

// Digest gives the SHA-256, in lower-case hex, of what a data set says: tags and values, not how they were encoded.
// Transfer syntax, file meta, defined or undefined lengths, group lengths and trailing padding do not change it, nor
// does the VR, which implicit encoding doesn't carry. The bytes of pixel data are not part of it.
func Digest(d DataSet) string {
	g := digester{h: sha256.New()}
	g.dataSet(d)
	g.h.Write(g.buf)
	return hex.EncodeToString(g.h.Sum(nil))
}

type digester struct {
	h   hash.Hash
	buf []byte
}

// The marks between parts keep different structures from giving the same bytes.
const (
	markValue    = 'V'
	markSequence = 'S'
	markItem     = 'I'
	markEnd      = 'E'
)

func (g *digester) dataSet(d DataSet) {
	for _, e := range d {
		if dropped(e.Tag) {
			continue
		}
		g.element(e)
		if len(g.buf) > 32<<10 {
			g.h.Write(g.buf)
			g.buf = g.buf[:0]
		}
	}
	g.buf = append(g.buf, markEnd)
}

func (g *digester) element(e Element) {
	g.buf = binary.BigEndian.AppendUint32(g.buf, uint32(e.Tag))
	items, known := unknownItems(e)
	if known || e.VR == "SQ" {
		g.buf = append(g.buf, markSequence)
		for _, item := range items {
			g.buf = append(g.buf, markItem)
			g.dataSet(item)
		}
		g.buf = append(g.buf, markEnd)
		return
	}
	g.buf = append(g.buf, markValue)
	at := len(g.buf)
	g.buf = append(g.buf, 0, 0, 0, 0, 0, 0, 0, 0)
	g.value(e)
	binary.BigEndian.PutUint64(g.buf[at:], uint64(len(g.buf)-at-8))
}

// value appends the canonical bytes of a value: texts joined by backslashes, numbers in little endian, bytes as they are.
func (g *digester) value(e Element) {
	vr, _ := vrNamed([]byte(e.VR))
	switch {
	case len(e.Bytes) > 0:
		g.buf = append(g.buf, e.Bytes...)
	case vr.kind == kindFloat32:
		for _, f := range e.Floats {
			g.buf = binary.LittleEndian.AppendUint32(g.buf, math.Float32bits(float32(f)))
		}
	case vr.kind == kindFloat64:
		for _, f := range e.Floats {
			g.buf = binary.LittleEndian.AppendUint64(g.buf, math.Float64bits(f))
		}
	case vr.numeric():
		for _, v := range e.Values {
			g.buf = appendInteger(g.buf, v, vr)
		}
	default:
		g.text(e, vr)
	}
}

// text appends a text; that of an unknown element is padded, as its bytes are when it has been read.
func (g *digester) text(e Element, vr representation) {
	at := len(g.buf)
	for i, v := range e.Values {
		if i > 0 {
			g.buf = append(g.buf, '\\')
		}
		g.buf = append(g.buf, v...)
	}
	if (len(g.buf)-at)&1 == 0 {
		return
	}
	if _, known := dictionaryVR(e.Tag); !known {
		g.buf = append(g.buf, vr.pad())
	}
}

// unknownItems gives the items of a sequence, also of one that no dictionary knows: in implicit encoding with defined
// length it stays bytes, in explicit encoding it is a sequence, and both say the same.
func unknownItems(e Element) ([]DataSet, bool) {
	if len(e.Items) > 0 || e.VR != "UN" || len(e.Bytes) < 8 || (dialect{}).tag(e.Bytes) != tagItem {
		return e.Items, false
	}
	if _, known := dictionaryVR(e.Tag); known {
		return nil, false
	}
	inside := func() *walker {
		w := newWalker(e.Bytes, 0, dialect{implicit: true}, DefaultLimits())
		w.stack = append(w.stack, level{tag: e.Tag, dialect: w.top, end: w.end})
		w.depth++
		return w
	}
	found, err := inspect(inside())
	if err != nil {
		return nil, false
	}
	n := newNotes(nil)
	sequence, _ := binaryVR([]byte("SQ"))
	items, err := newBuilder(inside(), found.large, n).items(token{tag: e.Tag, vr: sequence}, newCharset(nil, n))
	return items, err == nil
}

// appendInteger appends a decimal integer as the little endian bytes of its VR; what is no integer stays text.
func appendInteger(buf []byte, s string, vr representation) []byte {
	var bits uint64
	if n, err := strconv.ParseInt(s, 10, 64); err == nil {
		bits = uint64(n)
	} else if bits, err = strconv.ParseUint(s, 10, 64); err != nil {
		return append(buf, s...)
	}
	if vr.kind == kindTag {
		buf = binary.LittleEndian.AppendUint16(buf, uint16(bits>>16))
		return binary.LittleEndian.AppendUint16(buf, uint16(bits))
	}
	for range vr.size() {
		buf = append(buf, byte(bits))
		bits >>= 8
	}
	return buf
}
