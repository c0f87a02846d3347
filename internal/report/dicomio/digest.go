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
	if e.VR == "SQ" {
		g.buf = append(g.buf, markSequence)
		for _, item := range e.Items {
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
		for i, v := range e.Values {
			if i > 0 {
				g.buf = append(g.buf, '\\')
			}
			g.buf = append(g.buf, v...)
		}
	}
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
