package dicomio

import (
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/japanese"
	"golang.org/x/text/encoding/korean"
	"golang.org/x/text/encoding/simplifiedchinese"
)

const escape = 0x1B

// low is the set that bytes below 0x80 stand for (G0), high the set above (G1), PS3.3 tables C.12-3 and C.12-4.
type (
	low  uint8
	high uint8
)

const (
	lowASCII   low = iota
	lowRomaji      // ISO-IR 14, JIS X 0201
	lowJIS0208     // ISO-IR 87
	lowJIS0212     // ISO-IR 159
)

const (
	highNone   high = iota
	highSingle      // an ISO 8859 part or TIS 620
	highKana        // ISO-IR 13, JIS X 0201
	highKorean      // ISO-IR 149, KS X 1001
	highGB2312      // ISO-IR 58
)

// extension is what is in force at one place of a text.
type extension struct {
	low    low
	high   high
	single encoding.Encoding // of highSingle
}

// extensionOf gives what a declared set puts in force.
func extensionOf(ir string) (extension, bool) {
	if e := singleByte(ir); e != nil {
		return extension{high: highSingle, single: e}, true
	}
	switch ir {
	case "13":
		return extension{low: lowRomaji, high: highKana}, true
	case "87", "159":
		return extension{}, true // only by escape sequence
	case "149":
		return extension{high: highKorean}, true
	case "58":
		return extension{high: highGB2312}, true
	}
	return extension{}, false
}

// apply puts in force what an escape sequence (without ESC) names, PS3.3 tables C.12-3 and C.12-4.
func (x *extension) apply(sequence string) bool {
	switch sequence {
	case "(B":
		x.low = lowASCII
	case "(J":
		x.low = lowRomaji
	case "$B", "$@":
		x.low = lowJIS0208
	case "$(D":
		x.low = lowJIS0212
	case ")I":
		x.high = highKana
	case "$)C":
		x.high = highKorean
	case "$)A":
		x.high = highGB2312
	default:
		return x.applySingle(sequence)
	}
	return true
}

func (x *extension) applySingle(sequence string) bool {
	ir := ""
	switch sequence {
	case "-A":
		ir = "100"
	case "-B":
		ir = "101"
	case "-C":
		ir = "109"
	case "-D":
		ir = "110"
	case "-F":
		ir = "126"
	case "-G":
		ir = "127"
	case "-H":
		ir = "138"
	case "-L":
		ir = "144"
	case "-M":
		ir = "148"
	case "-T":
		ir = "166"
	case "-b":
		ir = "203"
	}
	e := singleByte(ir)
	if e == nil {
		return false
	}
	x.high, x.single = highSingle, e
	return true
}

// switcher decodes one text with code extensions.
type switcher struct {
	cs      *charset
	now     extension
	multi   bool // backslash separates values
	person  bool // ^ and = separate parts of a name
	out     strings.Builder
	run     []byte            // bytes waiting for one decoder
	dec     encoding.Encoding // of run
	trouble bool
	assumed bool
}

// switching decodes a text whose sets change by escape sequences. What is in force returns to the initial sets at the
// end of each line, value and part of a person name (PS3.5 section 6.1.2.5.3).
func (cs *charset) switching(raw string, m mark, n *notes) string {
	s := &switcher{cs: cs, now: cs.initial, multi: m.vr.kind == kindTexts, person: m.vr.name == "PN"}
	for i := 0; i < len(raw); {
		i += s.step(raw[i:])
	}
	s.flush()
	if s.assumed {
		n.add("no escape sequence before text of another character set, the first declared one assumed", m.tag)
	}
	out := s.out.String()
	if s.trouble || strings.ContainsRune(out, utf8.RuneError) {
		n.add("bytes that do not fit the declared character set replaced", m.tag)
	}
	return out
}

// step takes one character or escape sequence and says how many bytes it had.
func (s *switcher) step(rest string) int {
	c := rest[0]
	switch {
	case c == escape:
		n := escapeLength(rest)
		if !s.now.apply(rest[1:n]) {
			s.trouble = true
		}
		return n
	case c < 0x21 || c == 0x7F:
		s.rune(rune(c))
		if c == '\n' || c == '\r' || c == '\f' || c == '\t' {
			s.now = s.cs.initial
		}
		return 1
	case c < 0x80:
		return s.lowByte(rest)
	}
	return s.highByte(rest)
}

// lowByte takes a character that begins with a byte of 0x21 to 0x7E.
func (s *switcher) lowByte(rest string) int {
	c := rest[0]
	if s.now.low == lowJIS0208 || s.now.low == lowJIS0212 {
		return s.kanji(rest)
	}
	if s.now.low == lowRomaji && c == '~' {
		s.rune('\u203E')
		return 1
	}
	if s.now.low == lowRomaji && c == '\\' && !s.multi {
		s.rune('\u00A5')
		return 1
	}
	s.rune(rune(c))
	if s.multi && c == '\\' || s.person && (c == '^' || c == '=') {
		s.now = s.cs.initial
	}
	return 1
}

// kanji takes a character of two bytes; EUC-JP writes the same character with the high bits set.
func (s *switcher) kanji(rest string) int {
	if len(rest) < 2 || rest[1] < 0x21 || rest[1] > 0x7E {
		s.rune(utf8.RuneError)
		return 1
	}
	if s.now.low == lowJIS0212 {
		s.append(japanese.EUCJP, 0x8F)
	}
	s.append(japanese.EUCJP, rest[0]|0x80, rest[1]|0x80)
	return 2
}

// highByte takes a character that begins with a byte from 0x80 on.
func (s *switcher) highByte(rest string) int {
	x, c := s.highSet(), rest[0]
	switch {
	case x.high == highSingle:
		s.append(x.single, c)
		return 1
	case x.high == highKana && c >= 0xA1 && c <= 0xDF:
		s.rune(0xFF61 + rune(c-0xA1))
		return 1
	case x.high == highKana || len(rest) < 2 || rest[1] < 0xA1:
		s.rune(utf8.RuneError)
		return 1
	case x.high == highKorean:
		s.append(korean.EUCKR, c, rest[1])
	default:
		s.append(simplifiedchinese.GBK, c, rest[1])
	}
	return 2
}

// highSet gives the set in force for high bytes, or the one to assume.
func (s *switcher) highSet() extension {
	switch {
	case s.now.high != highNone:
		return s.now
	case s.cs.fallback != nil:
		s.assumed = true
		return *s.cs.fallback
	}
	s.assumed = true
	return extension{high: highSingle, single: singleByte("100")}
}

func (s *switcher) append(dec encoding.Encoding, b ...byte) {
	if s.dec != dec {
		s.flush()
		s.dec = dec
	}
	s.run = append(s.run, b...)
}

func (s *switcher) rune(r rune) {
	if r < utf8.RuneSelf && len(s.run) > 0 {
		s.run = append(s.run, byte(r)) // ASCII is a part of every set here
		return
	}
	s.flush()
	s.out.WriteRune(r)
}

// flush decodes the run; what does not fit comes out as the replacement character.
func (s *switcher) flush() {
	if len(s.run) == 0 {
		return
	}
	if text, err := s.dec.NewDecoder().Bytes(s.run); err == nil {
		s.out.Write(text)
	} else {
		s.out.WriteRune(utf8.RuneError)
	}
	s.run = s.run[:0]
}
