package dicomio

import (
	"encoding/binary"
	"fmt"
	"strings"
)

// The transfer syntaxes this package reads. It writes all but the retired big endian one.
const (
	ImplicitLittleEndian = "1.2.840.10008.1.2"
	ExplicitLittleEndian = "1.2.840.10008.1.2.1"
	ExplicitBigEndian    = "1.2.840.10008.1.2.2"
	DeflatedExplicit     = "1.2.840.10008.1.2.1.99"
)

// encapsulatedPrefix begins the transfer syntaxes of compressed images, whose data sets are explicit little endian.
const encapsulatedPrefix = "1.2.840.10008.1.2.4."

const preamble = 128

// envelope is what stands around a data set: where the file meta lies, how the data set is encoded, and the data set's
// bytes, inflated where they were deflated.
type envelope struct {
	meta     []byte // the file meta elements, explicit VR little endian; empty for a bare data set
	metaAt   int    // offset of meta in the file
	syntax   string
	dialect  dialect
	body     []byte
	bodyFrom int // offset in body at which the data set starts
	repairs  []string
	// From the file meta, for objects whose data set cannot be read.
	sopClass, sopInstance string
}

// openEnvelope looks at the outside of a file. On ErrTransferSyntax the envelope still says what the file meta says.
func openEnvelope(data []byte, lim Limits) (envelope, error) {
	if int64(len(data)) > lim.FileBytes {
		return envelope{}, fmt.Errorf("%w: file of %d bytes, at most %d", ErrLimit, len(data), lim.FileBytes)
	}
	switch {
	case len(data) >= preamble+4 && string(data[preamble:preamble+4]) == "DICM":
		return withMeta(data, preamble+4, lim, nil)
	case startsMeta(data):
		return withMeta(data, 0, lim, []string{"no preamble before the file meta"})
	case plausibleStart(data):
		env := envelope{body: data}
		env.guess("no preamble and file meta")
		return env, nil
	}
	return envelope{}, fmt.Errorf("%w: neither the DICM mark at byte %d nor the start of a data set", ErrNotDICOM, preamble)
}

// startsMeta tells whether the bytes begin with a file meta element in explicit VR little endian.
func startsMeta(data []byte) bool {
	if len(data) < 8 || (dialect{}).tag(data).Group() != 2 {
		return false
	}
	_, ok := vrNamed(data[4:6])
	return ok
}

// plausibleStart tells whether the bytes may be a bare little endian data set: it begins in group 0008 with a small
// element number, and its first value ends inside the file.
func plausibleStart(data []byte) bool {
	if len(data) < 16 {
		return false
	}
	t := (dialect{}).tag(data)
	return t.Group() == 8 && t.Number() <= 0x0070
}

// guess settles the dialect of a data set whose transfer syntax is not told.
func (e *envelope) guess(why string) {
	e.syntax, e.dialect = ImplicitLittleEndian, dialect{implicit: true}
	name := "implicit VR little endian"
	if rest := e.body[e.bodyFrom:]; len(rest) >= 6 {
		if _, ok := vrNamed(rest[4:6]); ok {
			e.syntax, e.dialect = ExplicitLittleEndian, dialect{}
			name = "explicit VR little endian"
		}
	}
	e.repairs = append(e.repairs, why+": "+name+" assumed")
}

// withMeta reads the file meta (PS3.10 section 7.1) that starts at an offset.
func withMeta(data []byte, at int, lim Limits, repairs []string) (envelope, error) {
	env := envelope{metaAt: at, repairs: repairs}
	end, err := env.walkMeta(data, at, lim)
	if err != nil {
		return env, err
	}
	env.meta, env.body, env.bodyFrom = data[at:end], data, end
	switch env.syntax {
	case "":
		if end < len(data) {
			env.guess("no transfer syntax in the file meta")
		}
	case ImplicitLittleEndian:
		env.dialect = dialect{implicit: true}
	case ExplicitLittleEndian:
	case ExplicitBigEndian:
		env.dialect = dialect{big: true}
	case DeflatedExplicit:
		env.body, err = inflate(data[end:], lim)
		env.bodyFrom = 0
		return env, err
	default:
		return env, fmt.Errorf("%w: %s", ErrTransferSyntax, uidOnly(env.syntax))
	}
	return env, nil
}

// walkMeta finds the end of the file meta and keeps its three UIDs. The group length is believed when it ends between
// two elements; otherwise the group goes on as long as its elements do.
func (e *envelope) walkMeta(data []byte, at int, lim Limits) (int, error) {
	w := newWalker(data, at, dialect{}, lim)
	declared := -1
	for w.pos < len(data) && w.pos != declared {
		if len(w.stack) == 0 && (len(data)-w.pos < 2 || binary.LittleEndian.Uint16(data[w.pos:]) != 2) {
			break
		}
		tok, err := w.next()
		if err != nil {
			return 0, err
		}
		if tok.event != eventElement {
			continue
		}
		value := data[tok.value:tok.end]
		if tok.tag == tagFileMetaLength && len(value) == 4 {
			declared = tok.end + int(binary.LittleEndian.Uint32(value))
		}
		e.keep(tok.tag, value)
	}
	return w.pos, e.judgeMeta(data, w, at, declared)
}

// keep remembers the UIDs of the file meta.
func (e *envelope) keep(t Tag, value []byte) {
	switch t {
	case tagMediaSOPClassUID:
		e.sopClass = plainText(value)
	case tagMediaSOPInstanceUID:
		e.sopInstance = plainText(value)
	case tagTransferSyntaxUID:
		e.syntax = plainText(value)
	default: // says nothing about the data set
	}
}

// judgeMeta refuses a file meta that is none, and notes a wrong group length.
func (e *envelope) judgeMeta(data []byte, w *walker, at, declared int) error {
	if w.pos == at {
		return refuse(ErrBroken, "no file meta behind the preamble", at, 0)
	}
	if w.pos == len(data) && declared > len(data) {
		return refuse(ErrTruncated, "file ends inside the file meta", w.pos, 0)
	}
	if declared >= 0 && w.pos != declared {
		e.repairs = append(e.repairs, "group length of the file meta is wrong and was ignored")
	}
	return nil
}

// plainText gives a value of default repertoire without padding.
func plainText(value []byte) string { return strings.Trim(string(value), " \x00") }

// isUID tells whether a text has the characters and length of a UID.
func isUID(s string) bool {
	return s != "" && len(s) <= 64 && strings.Trim(s, "0123456789.") == ""
}

// uidOnly gives a UID for an error text, or a stand-in when it is none.
func uidOnly(s string) string {
	if !isUID(s) {
		return "not a UID"
	}
	return s
}
