package dicomio

import (
	"github.com/suyashkumar/dicom/pkg/tag"
)

// kind says how the value of a VR is built.
type kind uint8

const (
	kindBytes    kind = iota // not decoded
	kindText                 // one text, backslash is an ordinary character
	kindTexts                // texts separated by backslashes
	kindUint16               // US
	kindInt16                // SS
	kindUint32               // UL
	kindInt32                // SL
	kindUint64               // UV
	kindInt64                // SV
	kindTag                  // AT
	kindFloat32              // FL
	kindFloat64              // FD
	kindSequence             // SQ
)

// representation is a value representation (PS3.5 section 6.2) as far as reading and writing it matters.
type representation struct {
	name    string
	kind    kind
	long    bool // 32-bit length in explicit encoding, PS3.5 table 7.1-1
	charset bool // subject to Specific Character Set, PS3.5 section 6.1.2.2
	word    int  // bytes that swap together in big endian
}

var unknown = representation{name: "UN", kind: kindBytes, long: true, word: 1}

// vrNamed gives a VR by its two letters, without allocating.
func vrNamed(letters []byte) (representation, bool) {
	if r, ok := textVR(letters); ok {
		return r, true
	}
	return binaryVR(letters)
}

func textVR(letters []byte) (representation, bool) {
	switch string(letters) {
	case "AE", "AS", "CS", "DA", "DS", "DT", "IS", "TM", "UI":
		return representation{name: vrName(letters), kind: kindTexts, word: 1}, true
	case "LO", "SH", "PN":
		return representation{name: vrName(letters), kind: kindTexts, charset: true, word: 1}, true
	case "UC":
		return representation{name: "UC", kind: kindTexts, long: true, charset: true, word: 1}, true
	case "LT", "ST":
		return representation{name: vrName(letters), kind: kindText, charset: true, word: 1}, true
	case "UT":
		return representation{name: "UT", kind: kindText, long: true, charset: true, word: 1}, true
	case "UR":
		return representation{name: "UR", kind: kindText, long: true, word: 1}, true
	}
	return representation{}, false
}

func binaryVR(letters []byte) (representation, bool) {
	switch string(letters) {
	case "US":
		return representation{name: "US", kind: kindUint16, word: 2}, true
	case "SS":
		return representation{name: "SS", kind: kindInt16, word: 2}, true
	case "UL":
		return representation{name: "UL", kind: kindUint32, word: 4}, true
	case "SL":
		return representation{name: "SL", kind: kindInt32, word: 4}, true
	case "UV":
		return representation{name: "UV", kind: kindUint64, long: true, word: 8}, true
	case "SV":
		return representation{name: "SV", kind: kindInt64, long: true, word: 8}, true
	case "AT":
		return representation{name: "AT", kind: kindTag, word: 2}, true
	case "FL":
		return representation{name: "FL", kind: kindFloat32, word: 4}, true
	case "FD":
		return representation{name: "FD", kind: kindFloat64, word: 8}, true
	case "SQ":
		return representation{name: "SQ", kind: kindSequence, long: true, word: 1}, true
	}
	return bytesVR(letters)
}

func bytesVR(letters []byte) (representation, bool) {
	switch string(letters) {
	case "UN":
		return unknown, true
	case "OB":
		return representation{name: "OB", long: true, word: 1}, true
	case "OW":
		return representation{name: "OW", long: true, word: 2}, true
	case "OL":
		return representation{name: "OL", long: true, word: 4}, true
	case "OF":
		return representation{name: "OF", long: true, word: 4}, true
	case "OD":
		return representation{name: "OD", long: true, word: 8}, true
	case "OV":
		return representation{name: "OV", long: true, word: 8}, true
	}
	return representation{}, false
}

// vrName gives the constant string of a VR with a short length field, so that the walk makes no strings.
func vrName(letters []byte) string {
	for _, name := range [...]string{
		"LO", "SH", "CS", "UI", "DS", "PN", "DT", "TM", "DA", "IS", "AE", "AS", "LT", "ST",
	} {
		if name == string(letters) {
			return name
		}
	}
	return "UN"
}

// pad is the byte that makes a text even, PS3.5 section 6.2.
func (r representation) pad() byte {
	if r.name == "UI" {
		return 0
	}
	return ' '
}

// numeric tells whether values of the kind have a fixed size, which is the VR's word (two of them for a tag).
func (r representation) numeric() bool { return r.kind >= kindUint16 && r.kind <= kindFloat64 }

// size is the number of bytes of one value of a numeric kind.
func (r representation) size() int {
	if r.kind == kindTag {
		return 4
	}
	return r.word
}

// dictionaryVR gives the VR of a standard tag, UN and false for a tag the dictionary doesn't know.
func dictionaryVR(t Tag) (representation, bool) {
	switch {
	case t.Private():
		return unknown, false
	case t.Number() == 0:
		return binaryVR([]byte("UL"))
	case t == tagPixelData:
		return bytesVR([]byte("OW"))
	}
	info, err := tag.Find(tag.Tag{Group: t.Group(), Element: t.Number()})
	if err != nil || len(info.VRs) == 0 {
		return unknown, false
	}
	r, ok := vrNamed([]byte(info.VRs[0]))
	if !ok {
		return unknown, false
	}
	return r, true
}
