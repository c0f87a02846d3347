package dicommodel

import (
	"bytes"
	"encoding/base64"
	"encoding/xml"
	"fmt"
	"io"
	"strings"

	"afterbeam/internal/report/dicomio"
)

// XMLMediaType is that of one data set in the native XML model.
const XMLMediaType = "application/dicom+xml"

// WriteXML writes one data set in the native XML model (PS3.19, A.1). Characters that XML cannot hold are replaced.
func WriteXML(w io.Writer, d dicomio.DataSet) error {
	out := xmlWriter{writer{to: &bytes.Buffer{}}}
	out.text(xml.Header + `<NativeDicomModel xmlns="http://dicom.nema.org/PS3.19/models/NativeDICOM" xml:space="preserve">`)
	out.elements(d)
	out.text("</NativeDicomModel>\n")
	_, err := out.to.WriteTo(w)
	return err
}

type xmlWriter struct{ writer }

func (w xmlWriter) escaped(s string) {
	_ = xml.EscapeText(w.to, []byte(s)) // a buffer has no way to fail
}

func (w xmlWriter) elements(d dicomio.DataSet) {
	for _, e := range d {
		w.text(fmt.Sprintf(`<DicomAttribute tag="%08X" vr="%s"`, uint32(e.Tag), e.VR))
		if k := dicomio.Keyword(e.Tag); k != "" {
			w.text(` keyword="` + k + `"`)
		}
		w.text(">")
		w.values(e)
		w.text("</DicomAttribute>")
	}
}

func (w xmlWriter) values(e dicomio.Element) {
	switch {
	case e.VR == "SQ":
		for i, item := range e.Items {
			w.text(fmt.Sprintf(`<Item number="%d">`, i+1))
			w.elements(item)
			w.text("</Item>")
		}
	case isBytes(e.VR):
		if len(e.Bytes) > 0 {
			w.text("<InlineBinary>" + base64.StdEncoding.EncodeToString(e.Bytes) + "</InlineBinary>")
		}
	case e.VR == "PN":
		for i, v := range e.Values {
			w.person(i+1, v)
		}
	default:
		for i, v := range shown(e) {
			if e.VR == "AT" {
				v = tagText(v)
			}
			w.text(fmt.Sprintf(`<Value number="%d">`, i+1))
			w.escaped(v)
			w.text("</Value>")
		}
	}
}

// nameParts are the components of a person's name, in order (PS3.5, 6.2.1.1).
var nameParts = [...]string{"FamilyName", "GivenName", "MiddleName", "NamePrefix", "NameSuffix"}

func (w xmlWriter) person(number int, v string) {
	w.text(fmt.Sprintf(`<PersonName number="%d">`, number))
	for i, group := range strings.SplitN(v, "=", len(groups)) {
		if group == "" {
			continue
		}
		w.text("<" + groups[i] + ">")
		for j, part := range strings.SplitN(group, "^", len(nameParts)) {
			if part == "" {
				continue
			}
			w.text("<" + nameParts[j] + ">")
			w.escaped(part)
			w.text("</" + nameParts[j] + ">")
		}
		w.text("</" + groups[i] + ">")
	}
	w.text("</PersonName>")
}
