package dicomio

import (
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/simplifiedchinese"
)

// charset decodes the texts of a data set by its Specific Character Set, PS3.3 section C.12.1.1.2.
type charset struct {
	declared bool   // a set beyond the default repertoire is declared
	name     string // the first declared value, for notes
	// whole decodes a text that has no code extensions; nil for UTF-8 and the default repertoire.
	whole encoding.Encoding
	utf8  bool
	// extended sets may be switched to by escape sequences, PS3.5 section 6.1.2.5.
	initial  extension
	fallback *extension // taken for high bytes before any escape has named a set for them
}

// singleByte gives the encodings of PS3.3 table C.12-2, single-byte sets without code extensions, by number of ISO-IR.
func singleByte(ir string) encoding.Encoding {
	switch ir {
	case "100":
		return charmap.ISO8859_1
	case "101":
		return charmap.ISO8859_2
	case "109":
		return charmap.ISO8859_3
	case "110":
		return charmap.ISO8859_4
	case "144":
		return charmap.ISO8859_5
	case "127":
		return charmap.ISO8859_6
	case "126":
		return charmap.ISO8859_7
	case "138":
		return charmap.ISO8859_8
	case "148":
		return charmap.ISO8859_9
	case "203":
		return charmap.ISO8859_15
	case "166":
		return charmap.Windows874 // TIS 620-2533 and a few signs more
	}
	return nil
}

// plainName brings the spellings met in files to one form: "ISO_IR 100", "ISO-IR 100" and "ISO IR 100" give "ISOIR100".
func plainName(name string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' {
			return r - 'a' + 'A'
		}
		if r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, name)
}

// irNumber gives the registration number in a name such as "ISO_IR 100" or "ISO 2022 IR 100", and "" for others.
func irNumber(name string) string {
	p := plainName(name)
	if n, ok := strings.CutPrefix(p, "ISO2022IR"); ok {
		return n
	}
	n, _ := strings.CutPrefix(p, "ISOIR")
	if n == p {
		return ""
	}
	return n
}

// newCharset reads the values of Specific Character Set. What it does not know it treats as undeclared, with a note.
func newCharset(values []string, n *notes) *charset {
	cs := &charset{}
	if len(values) == 0 {
		return cs
	}
	cs.name = values[0]
	switch plainName(values[0]) {
	case "", "ISOIR6", "ISO2022IR6":
	case "ISOIR192", "UTF8":
		cs.declared, cs.utf8 = true, true
		return cs
	case "GB18030":
		cs.declared, cs.whole = true, simplifiedchinese.GB18030
		return cs
	case "GBK", "GB2312":
		cs.declared, cs.whole = true, simplifiedchinese.GBK
		return cs
	default:
		cs.declared = cs.extend(values[0], n)
	}
	for _, v := range values[1:] {
		if plainName(v) != "ISO2022IR6" && plainName(v) != "ISOIR6" && v != "" {
			cs.declared = cs.extend(v, n) || cs.declared
		}
	}
	return cs
}

// extend adds one declared set; the first becomes what a text begins with.
func (cs *charset) extend(name string, n *notes) bool {
	ext, ok := extensionOf(irNumber(name))
	if !ok {
		n.add("unknown character set: text that is not ASCII read as UTF-8 where valid, else as ISO 8859-1", tagCharacterSet)
		return false
	}
	if name == cs.name {
		cs.initial = ext
	}
	if cs.fallback == nil && ext.high != highNone {
		cs.fallback = &ext
	}
	return true
}

// decode gives valid UTF-8 without escape sequences.
func (cs *charset) decode(raw string, m mark, n *notes) string {
	if ascii(raw) && (!m.vr.charset || cs.initial.low == lowASCII) {
		return raw
	}
	switch {
	case !m.vr.charset:
		n.add("non-ASCII text where the default repertoire is required read as ISO 8859-1", m.tag)
		return withoutEscapes(latin1(raw))
	case !cs.declared && !strings.Contains(raw, "\x1b"):
		return undeclared(raw, m.tag, n)
	case cs.utf8:
		if !utf8.ValidString(raw) {
			n.add("text that is not the declared UTF-8 read as ISO 8859-1", m.tag)
			raw = latin1(raw)
		}
		return cs.unescaped(raw, m.tag, n)
	case cs.whole != nil:
		s, err := cs.whole.NewDecoder().String(raw)
		if err != nil || strings.ContainsRune(s, utf8.RuneError) {
			n.add("text that is not in the declared multi-byte character set read as ISO 8859-1", m.tag)
			s = latin1(raw)
		}
		return cs.unescaped(s, m.tag, n)
	}
	return cs.switching(raw, m, n)
}

// undeclared reads high bytes that no character set explains: UTF-8 is hardly ever valid by chance.
func undeclared(raw string, t Tag, n *notes) string {
	if utf8.ValidString(raw) {
		n.add("undeclared non-ASCII text read as UTF-8", t)
		return raw
	}
	n.add("undeclared non-ASCII text read as ISO 8859-1", t)
	return latin1(raw)
}

// ascii tells whether a text needs no decoding at all.
func ascii(s string) bool {
	for i := 0; i < len(s); i++ {
		if s[i] >= utf8.RuneSelf || s[i] == escape {
			return false
		}
	}
	return true
}

func latin1(s string) string {
	if ascii(s) {
		return s
	}
	var b strings.Builder
	b.Grow(len(s) + 8)
	for i := 0; i < len(s); i++ {
		b.WriteRune(rune(s[i]))
	}
	return b.String()
}

func (cs *charset) unescaped(s string, t Tag, n *notes) string {
	if strings.IndexByte(s, escape) < 0 {
		return s
	}
	n.add("escape sequence that the character set does not allow removed", t)
	return withoutEscapes(s)
}

// withoutEscapes removes escape sequences: ESC, intermediate bytes 02/00-02/15, one final byte (ISO/IEC 2022).
func withoutEscapes(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); {
		if s[i] == escape {
			i += escapeLength(s[i:])
			continue
		}
		b.WriteByte(s[i])
		i++
	}
	return b.String()
}

func escapeLength(s string) int {
	i := 1
	for i < len(s) && s[i] >= 0x20 && s[i] <= 0x2F {
		i++
	}
	if i < len(s) && s[i] >= 0x30 && s[i] <= 0x7E {
		i++
	}
	return i
}
