package dicomio

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"
	"golang.org/x/text/encoding/charmap"
)

// What a written file says about its writer, PS3.10 section 7.1.
const (
	ImplementationUID  = "2.25.262913804517060433862935714026873559173"
	ImplementationName = "AFTERBEAM"
)

// Write writes a Part 10 file: preamble, file meta and the data set in explicit, implicit or deflated explicit VR little
// endian. Texts are encoded in the character set the data set declares, when that is a single one without code
// extensions; texts beyond it or beyond an undeclared one are written, and declared, as ISO_IR 192 (UTF-8).
func Write(w io.Writer, d DataSet, transferSyntax string) error {
	implicit := transferSyntax == ImplicitLittleEndian
	if !implicit && transferSyntax != ExplicitLittleEndian && transferSyntax != DeflatedExplicit {
		return fmt.Errorf("%w: writing %s", ErrTransferSyntax, uidOnly(transferSyntax))
	}
	d, enc := encodingFor(d)
	var body bytes.Buffer
	if err := writeElements(&body, d, implicit, enc); err != nil {
		return err
	}
	front, err := frontOf(fileMeta(d.Text(tagSOPClassUID), d.Text(tagSOPInstanceUID), transferSyntax))
	if err != nil {
		return err
	}
	if _, err := w.Write(front); err != nil {
		return err
	}
	if transferSyntax == DeflatedExplicit {
		return deflate(w, body.Bytes())
	}
	_, err = w.Write(body.Bytes())
	return err
}

// Encode gives the bytes of a data set alone, as a DICOM message carries it, in implicit or explicit VR little endian. Its
// texts are ASCII, or in UTF-8 where it declares ISO_IR 192.
func Encode(d DataSet, transferSyntax string) ([]byte, error) {
	implicit := transferSyntax == ImplicitLittleEndian
	if !implicit && transferSyntax != ExplicitLittleEndian {
		return nil, fmt.Errorf("%w: writing %s", ErrTransferSyntax, uidOnly(transferSyntax))
	}
	d, enc := encodingFor(d)
	var body bytes.Buffer
	err := writeElements(&body, d, implicit, enc)
	return body.Bytes(), err
}

// Front gives the preamble and file meta under which a data set that came without them is kept, in whatever transfer
// syntax it came. The same object has the same front whoever sent it.
func Front(sopClass, sopInstance, transferSyntax string) ([]byte, error) {
	for name, uid := range map[string]string{"SOP class": sopClass, "SOP instance": sopInstance, "transfer syntax": transferSyntax} {
		if !isUID(uid) {
			return nil, fmt.Errorf("%w: %s is no UID", ErrBroken, name)
		}
	}
	return frontOf(fileMeta(sopClass, sopInstance, transferSyntax))
}

func frontOf(meta DataSet) ([]byte, error) {
	var head bytes.Buffer
	if err := writeElements(&head, meta, false, nil); err != nil {
		return nil, err
	}
	front := append(make([]byte, preamble), "DICM"...)
	front = append(front, 2, 0, 0, 0, 'U', 'L', 4, 0)
	front = binary.LittleEndian.AppendUint32(front, uint32(head.Len()))
	return append(front, head.Bytes()...), nil
}

func deflate(w io.Writer, body []byte) error {
	out, err := flate.NewWriter(w, flate.DefaultCompression)
	if err != nil {
		return err
	}
	if _, err := out.Write(body); err != nil {
		return err
	}
	return out.Close()
}

func fileMeta(sopClass, sopInstance, transferSyntax string) DataSet {
	meta := DataSet{{Tag: tagFileMetaVersion, VR: "OB", Bytes: []byte{0, 1}}}
	add := func(t Tag, vr, value string) {
		if value != "" {
			meta = append(meta, Element{Tag: t, VR: vr, Values: []string{value}})
		}
	}
	addUID := func(t Tag, value string) {
		if isUID(value) {
			add(t, "UI", value)
		}
	}
	addUID(tagMediaSOPClassUID, sopClass)
	addUID(tagMediaSOPInstanceUID, sopInstance)
	add(tagTransferSyntaxUID, "UI", transferSyntax)
	add(tagImplementationUID, "UI", ImplementationUID)
	add(tagImplementationName, "SH", ImplementationName)
	return meta
}

// encoder turns a text into the bytes of a declared character set; without one UTF-8 is written as it is.
type encoder func(string) (string, error)

func writeElements(out io.Writer, d DataSet, implicit bool, enc encoder) error {
	w, err := dicom.NewWriter(out, dicom.SkipVRVerification())
	if err != nil {
		return err
	}
	w.SetTransferSyntax(binary.LittleEndian, implicit)
	els, err := libraryElements(d, implicit, enc)
	if err != nil {
		return err
	}
	for _, e := range els {
		if err := w.WriteElement(e); err != nil {
			return fmt.Errorf("%w: element %04X,%04X cannot be written", ErrBroken, e.Tag.Group, e.Tag.Element)
		}
	}
	return nil
}

func libraryElements(d DataSet, implicit bool, enc encoder) ([]*dicom.Element, error) {
	out := make([]*dicom.Element, 0, len(d))
	for _, e := range d {
		if dropped(e.Tag) || e.Tag.Group() == 0xFFFE {
			continue
		}
		l, err := libraryElement(e, implicit, enc)
		if err != nil {
			return nil, err
		}
		out = append(out, l)
	}
	return out, nil
}

func libraryElement(e Element, implicit bool, enc encoder) (*dicom.Element, error) {
	vr, ok := vrNamed([]byte(e.VR))
	if !ok {
		return nil, fmt.Errorf("%w: element %v has no value representation", ErrBroken, e.Tag)
	}
	l := &dicom.Element{
		Tag:                    tag.Tag{Group: e.Tag.Group(), Element: e.Tag.Number()},
		RawValueRepresentation: e.VR,
	}
	data, err := libraryValue(e, vr, implicit, enc)
	if err != nil || data == nil {
		return l, err
	}
	if raw, ok := data.([]byte); ok {
		data, l.RawValueRepresentation = rawValue(raw, vr, implicit)
	}
	l.ValueRepresentation = tag.GetVRKind(l.Tag, l.RawValueRepresentation)
	l.Value, err = dicom.NewValue(data)
	return l, err
}

// rawValue makes bytes that the library writes as they are. It takes OB and OW as such; other VRs with long length go as text
// under their own name, which it passes through. It writes the 64-bit VRs with a short length, so these go as UN.
func rawValue(raw []byte, vr representation, implicit bool) (any, string) {
	if len(raw)&1 == 1 {
		raw = append(bytes.Clone(raw), 0)
	}
	switch vr.name {
	case "OB", "OW":
		return raw, vr.name
	case "OD", "OF", "OL", "UT", "UC", "UR":
		return []string{string(raw)}, vr.name
	}
	if vr.long || implicit || len(raw) > maxShort {
		return raw, "UN"
	}
	return []string{string(raw)}, vr.name
}

// libraryValue gives a value as the library wants it: items, integers, floats, or the encoded bytes; nil for none.
func libraryValue(e Element, vr representation, implicit bool, enc encoder) (any, error) {
	switch {
	case vr.kind == kindSequence:
		items := make([][]*dicom.Element, 0, len(e.Items))
		for _, item := range e.Items {
			els, err := libraryElements(item, implicit, enc)
			if err != nil {
				return nil, err
			}
			items = append(items, els)
		}
		return items, nil
	case vr.kind == kindFloat32 || vr.kind == kindFloat64:
		return floatsOf(e)
	case vr.kind == kindUint64 || vr.kind == kindInt64:
		return bytesOrNothing(integerBytes(e, vr)), nil
	case vr.numeric() && len(e.Values)*vr.size() > maxShort:
		return bytesOrNothing(integerBytes(e, vr)), nil
	case vr.numeric():
		return integersOf(e, vr)
	case vr.kind == kindBytes:
		return bytesOrNothing(e.Bytes), nil
	}
	return textOf(e, vr, enc)
}

func integerBytes(e Element, vr representation) []byte {
	var raw []byte
	for _, v := range e.Values {
		raw = appendInteger(raw, v, vr)
	}
	return raw
}

func bytesOrNothing(b []byte) any {
	if len(b) == 0 {
		return nil
	}
	return b
}

func floatsOf(e Element) (any, error) {
	if len(e.Floats) > 0 || len(e.Values) == 0 {
		return nonEmpty(e.Floats), nil
	}
	out := make([]float64, 0, len(e.Values))
	for _, v := range e.Values {
		f, err := strconv.ParseFloat(v, 64)
		if err != nil {
			return nil, fmt.Errorf("%w: value of %v is no number", ErrBroken, e.Tag)
		}
		out = append(out, f)
	}
	return out, nil
}

func nonEmpty[T any](s []T) any {
	if len(s) == 0 {
		return nil
	}
	return s
}

func integersOf(e Element, vr representation) (any, error) {
	var out []int
	for _, v := range e.Values {
		n, err := strconv.Atoi(v)
		switch {
		case err != nil:
			return nil, fmt.Errorf("%w: value of %v is no integer", ErrBroken, e.Tag)
		case vr.kind == kindTag:
			out = append(out, n>>16, n&0xFFFF)
		default:
			out = append(out, n)
		}
	}
	return nonEmpty(out), nil
}

// textOf encodes and pads a text.
func textOf(e Element, vr representation, enc encoder) (any, error) {
	s := strings.Join(e.Values, "\\")
	if s == "" {
		return nil, nil
	}
	if !vr.charset {
		enc = charmap.ISO8859_1.NewEncoder().String // as Read takes what should be ASCII and is not
	}
	if enc != nil && !ascii(s) {
		var err error
		if s, err = enc(s); err != nil {
			return nil, fmt.Errorf("%w: text of %v does not fit the character set", ErrBroken, e.Tag)
		}
	}
	if len(s)&1 == 1 {
		s += string(rune(vr.pad()))
	}
	return []byte(s), nil
}

// encodingFor settles the character set of what is written; it changes the data set only to declare UTF-8.
func encodingFor(d DataSet) (DataSet, encoder) {
	if !beyondASCII(d) {
		return d, nil
	}
	declared, _ := d.Find(tagCharacterSet)
	if len(declared.Values) == 1 {
		name := declared.Values[0]
		if e := singleByte(irNumber(name)); e != nil && !itemsDeclare(d) && fits(d, func(s string) bool {
			_, err := e.NewEncoder().String(s)
			return err == nil
		}) {
			return d, func(s string) (string, error) { return e.NewEncoder().String(s) }
		}
	}
	return declareUTF8(d), nil
}

// beyondASCII tells whether a text of the data set or of one of its items needs a character set.
func beyondASCII(d DataSet) bool { return !fits(d, ascii) }

// fits tells whether all texts that a character set applies to pass.
func fits(d DataSet, pass func(string) bool) bool {
	for _, e := range d {
		if vr, _ := vrNamed([]byte(e.VR)); vr.charset {
			for _, v := range e.Values {
				if !pass(v) {
					return false
				}
			}
		}
		for _, item := range e.Items {
			if !fits(item, pass) {
				return false
			}
		}
	}
	return true
}

// itemsDeclare tells whether an item has a character set of its own.
func itemsDeclare(d DataSet) bool {
	for _, e := range d {
		for _, item := range e.Items {
			if _, ok := item.Find(tagCharacterSet); ok || itemsDeclare(item) {
				return true
			}
		}
	}
	return false
}

// declareUTF8 gives a copy that declares ISO_IR 192 at its top and nowhere inside.
func declareUTF8(d DataSet) DataSet {
	out := undeclare(d)
	at := 0
	for at < len(out) && out[at].Tag < tagCharacterSet {
		at++
	}
	utf8 := Element{Tag: tagCharacterSet, VR: "CS", Values: []string{"ISO_IR 192"}}
	return append(out[:at:at], append(DataSet{utf8}, out[at:]...)...)
}

func undeclare(d DataSet) DataSet {
	out := make(DataSet, 0, len(d))
	for _, e := range d {
		if e.Tag == tagCharacterSet {
			continue
		}
		if len(e.Items) > 0 {
			items := make([]DataSet, len(e.Items))
			for i, item := range e.Items {
				items[i] = undeclare(item)
			}
			e.Items = items
		}
		out = append(out, e)
	}
	return out
}
