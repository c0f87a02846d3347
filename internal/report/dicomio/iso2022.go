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

func (s *switcher) lowByte(rest string) int {
	c := rest[0]
	switch s.now.low {
	case lowJIS0208, lowJIS0212:
		if len(rest) < 2 || rest[1] < 0x21 || rest[1] > 0x7E {
			s.trouble = true
			s.rune(utf8.RuneError)
			return 1
		}
		if s.now.low == lowJIS0212 {
			s.append(japanese.EUCJP, 0x8F)
		}
		s.append(japanese.EUCJP, c|0x80, rest[1]|0x80)
		return 2
	case lowRomaji:
		if c == '~' {
			s.rune('\u203E')
			return 1
		}
		if c == '\\' && !s.multi {
			s.rune('\u00A5')
			return 1
		}
	}
	s.rune(rune(c))
	if s.multi && c == '\\' || s.person && (c == '^' || c == '=') {
		s.now = s.cs.initial
	}
	return 1
}

func (s *switcher) highByte(rest string) int {
	x := s.now
	if x.high == highNone {
		s.assumed = true
		if s.cs.fallback != nil {
			x = *s.cs.fallback
		} else {
			x = extension{high: highSingle, single: singleByte("100")}
		}
	}
	c := rest[0]
	switch x.high {
	case highSingle:
		s.append(x.single, c)
		return 1
	case highKana:
		if c < 0xA1 || c > 0xDF {
			s.rune(utf8.RuneError)
			return 1
		}
		s.rune(0xFF61 + rune(c-0xA1))
		return 1
	}
	if len(rest) < 2 || rest[1] < 0xA1 {
		s.rune(utf8.RuneError)
		return 1
	}
	if x.high == highKorean {
		s.append(korean.EUCKR, c, rest[1])
	} else {
		s.append(simplifiedchinese.GBK, c, rest[1])
	}
	return 2
}

func (s *switcher) append(dec encoding.Encoding, b ...byte) {
	if s.dec != dec {
		s.flush()
		s.dec = dec
	}
	s.run = append(s.run, b...)
}

func (s *switcher) rune(r rune) {
	s.flush()
	s.out.WriteRune(r)
}

func (s *switcher) flush() {
	if len(s.run) == 0 {
		return
	}
	text, err := s.dec.NewDecoder().Bytes(s.run)
	if err != nil {
		s.trouble = true
	}
	s.out.Write(text)
	s.run = s.run[:0]
}
