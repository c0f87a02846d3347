package dicommodel

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"afterbeam/internal/report/dicomio"
)

// MediaType is that of one data set or a list of them.
const MediaType = "application/dicom+json"

const characterSet dicomio.Tag = 0x00080005

// WriteOne writes one data set as a JSON object.
func WriteOne(w io.Writer, d dicomio.DataSet) error {
	out := writer{to: &bytes.Buffer{}}
	out.dataSet(d)
	out.text("\n")
	_, err := out.to.WriteTo(w)
	return err
}

type writer struct{ to *bytes.Buffer }

func (w writer) text(s string) { w.to.WriteString(s) }

func (w writer) quoted(s string) {
	b, _ := json.Marshal(s) // a string has no way to fail; bytes that are not UTF-8 are replaced
	w.to.Write(b)
}

// list writes the values one after another, with commas.
func list[T any](w writer, values []T, write func(T)) {
	w.text("[")
	for i, v := range values {
		if i > 0 {
			w.text(",")
		}
		write(v)
	}
	w.text("]")
}

func (w writer) dataSet(d dicomio.DataSet) {
	w.text("{")
	for i, e := range d {
		if i > 0 {
			w.text(",")
		}
		w.text(fmt.Sprintf(`"%08X":{"vr":"%s"`, uint32(e.Tag), e.VR))
		w.value(e)
		w.text("}")
	}
	w.text("}")
}

// value writes what follows the VR: nothing for an element without a value (F.2.5).
func (w writer) value(e dicomio.Element) {
	switch {
	case e.VR == "SQ":
		if len(e.Items) > 0 {
			w.text(`,"Value":`)
			list(w, e.Items, w.dataSet)
		}
	case isBytes(e.VR):
		if len(e.Bytes) > 0 {
			w.text(`,"InlineBinary":"` + base64.StdEncoding.EncodeToString(e.Bytes) + `"`)
		}
	case len(e.Values) == 0:
	case e.VR == "PN":
		w.text(`,"Value":`)
		list(w, e.Values, w.person)
	default:
		w.text(`,"Value":`)
		list(w, shown(e), func(v string) { w.single(e.VR, v) })
	}
}

// shown gives the values of an element as both models show them.
func shown(e dicomio.Element) []string {
	if e.Tag == characterSet {
		return []string{"ISO_IR 192"}
	}
	return e.Values
}

// isBytes tells whether values of a VR are not decoded.
func isBytes(vr string) bool {
	switch vr {
	case "OB", "OD", "OF", "OL", "OV", "OW", "UN":
		return true
	}
	return false
}

// single writes one value that is no person's name; an empty one among others is null (F.2.5).
func (w writer) single(vr, v string) {
	switch vr {
	case "DS", "FL", "FD":
		w.decimal(v)
	case "IS", "US", "SS", "UL", "SL", "UV", "SV":
		w.integer(v)
	case "AT":
		w.text(`"` + tagText(v) + `"`)
	default:
		if v == "" {
			w.text("null")
			return
		}
		w.quoted(v)
	}
}

// largest is the largest integer that every reader of JSON keeps exactly (RFC 8259, 6).
const largest = 1<<53 - 1

func (w writer) integer(v string) {
	n, err := strconv.ParseInt(v, 10, 64)
	switch {
	case v == "":
		w.text("null")
	case err != nil || n > largest || n < -largest:
		w.quoted(v)
	default:
		w.text(strconv.FormatInt(n, 10))
	}
}

// decimal keeps the digits that the object has where JSON allows them.
func (w writer) decimal(v string) {
	f, err := strconv.ParseFloat(v, 64)
	switch {
	case v == "":
		w.text("null")
	case err != nil || strings.ContainsAny(v, "xXpP_"):
		w.quoted(v)
	case math.IsNaN(f):
		w.text(`"NaN"`)
	case math.IsInf(f, 0):
		w.text(map[bool]string{true: `"inf"`, false: `"-inf"`}[f > 0])
	case json.Valid([]byte(v)):
		w.text(v)
	default: // such as "+1." or "007"
		w.text(strconv.FormatFloat(f, 'g', -1, 64))
	}
}

// tagText gives an attribute tag, a decimal number, in eight hexadecimal digits.
func tagText(v string) string {
	n, err := strconv.ParseUint(v, 10, 32)
	if err != nil {
		return ""
	}
	return fmt.Sprintf("%08X", n)
}

// groups are the ways of writing a person's name (PS3.5, 6.2.1.2).
var groups = [...]string{"Alphabetic", "Ideographic", "Phonetic"}

func (w writer) person(v string) {
	if v == "" {
		w.text("null")
		return
	}
	w.text("{")
	comma := ""
	for i, part := range strings.SplitN(v, "=", len(groups)) {
		if part == "" {
			continue
		}
		w.text(comma + `"` + groups[i] + `":`)
		w.quoted(part)
		comma = ","
	}
	w.text("}")
}

// List writes data sets one after another as a JSON array. Close ends it.
type List struct {
	to    io.Writer
	begun bool
}

// NewList begins an array; nothing is written before the first data set or Close.
func NewList(w io.Writer) *List { return &List{to: w} }

// Add writes one more data set.
func (l *List) Add(d dicomio.DataSet) error {
	out := writer{to: &bytes.Buffer{}}
	if l.begun {
		out.text(",\n")
	} else {
		out.text("[")
	}
	out.dataSet(d)
	l.begun = true
	_, err := out.to.WriteTo(l.to)
	return err
}

// Close writes the end.
func (l *List) Close() error {
	end := "]\n"
	if !l.begun {
		end = "[]\n"
	}
	_, err := io.WriteString(l.to, end)
	return err
}
