package dicomio_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/report/dicomio"
)

// Tags the samples use.
const (
	tagCharacterSet   dicomio.Tag = 0x00080005
	tagSOPClass       dicomio.Tag = 0x00080016
	tagSOPInstance    dicomio.Tag = 0x00080018
	tagManufacturer   dicomio.Tag = 0x00080070
	tagInstitution    dicomio.Tag = 0x00080080
	tagCodeValue      dicomio.Tag = 0x00080100
	tagScheme         dicomio.Tag = 0x00080102
	tagMeaning        dicomio.Tag = 0x00080104
	tagPatientName    dicomio.Tag = 0x00100010
	tagComments       dicomio.Tag = 0x00104000
	tagStudy          dicomio.Tag = 0x0020000D
	tagUnits          dicomio.Tag = 0x004008EA
	tagRelationship   dicomio.Tag = 0x0040A010
	tagValueType      dicomio.Tag = 0x0040A040
	tagConcept        dicomio.Tag = 0x0040A043
	tagUID            dicomio.Tag = 0x0040A124
	tagConceptCode    dicomio.Tag = 0x0040A168
	tagMeasured       dicomio.Tag = 0x0040A300
	tagNumeric        dicomio.Tag = 0x0040A30A
	tagContent        dicomio.Tag = 0x0040A730
	xRayDoseReport                = "1.2.840.10008.5.1.4.1.1.88.67"
	explicitBigEndian             = "1.2.840.10008.1.2.2"
)

func text(t dicomio.Tag, vr string, values ...string) dicomio.Element {
	return dicomio.Element{Tag: t, VR: vr, Values: values}
}

func sequence(t dicomio.Tag, items ...dicomio.DataSet) dicomio.Element {
	return dicomio.Element{Tag: t, VR: "SQ", Items: items}
}

func code(value, scheme, meaning string) dicomio.DataSet {
	return dicomio.DataSet{
		text(tagCodeValue, "SH", value), text(tagScheme, "SH", scheme), text(tagMeaning, "LO", meaning),
	}
}

func number(value, name, unit, amount string) dicomio.DataSet {
	return dicomio.DataSet{
		text(tagRelationship, "CS", "CONTAINS"),
		text(tagValueType, "CS", "NUM"),
		sequence(tagConcept, code(value, "DCM", name)),
		sequence(tagMeasured, dicomio.DataSet{
			sequence(tagUnits, code(unit, "UCUM", unit)),
			text(tagNumeric, "DS", amount),
		}),
	}
}

// doseReport is an invented structured report with the shape of a dose report: a container of irradiation events with
// 30 numbers each.
func doseReport(events int) dicomio.DataSet {
	items := []dicomio.DataSet{{
		text(tagRelationship, "CS", "HAS CONCEPT MOD"),
		text(tagValueType, "CS", "CODE"),
		sequence(tagConcept, code("121058", "DCM", "Procedure reported")),
		sequence(tagConceptCode, code("113704", "DCM", "Projection X-Ray")),
	}}
	for i := range events {
		numbers := []dicomio.DataSet{{
			text(tagRelationship, "CS", "CONTAINS"),
			text(tagValueType, "CS", "UIDREF"),
			sequence(tagConcept, code("113769", "DCM", "Irradiation Event UID")),
			text(tagUID, "UI", fmt.Sprintf("2.25.77.%d", i+1)),
		}}
		for j := range 30 {
			numbers = append(numbers, number(fmt.Sprint(113700+j), "Invented quantity "+fmt.Sprint(j), "Gy.m2",
				fmt.Sprintf("%d.%03d", i%7, (i*31+j*17)%1000)))
		}
		items = append(items, dicomio.DataSet{
			text(tagRelationship, "CS", "CONTAINS"),
			text(tagValueType, "CS", "CONTAINER"),
			sequence(tagConcept, code("113706", "DCM", "Irradiation Event X-Ray Data")),
			sequence(tagContent, numbers...),
		})
	}
	return dicomio.DataSet{
		text(tagSOPClass, "UI", xRayDoseReport),
		text(tagSOPInstance, "UI", "2.25.1001"),
		text(tagManufacturer, "LO", "Invented Imaging"),
		text(tagPatientName, "PN", "Fictional^Patient"),
		text(tagStudy, "UI", "2.25.1002"),
		text(tagValueType, "CS", "CONTAINER"),
		sequence(tagConcept, code("113701", "DCM", "X-Ray Radiation Dose Report")),
		sequence(tagContent, items...),
	}
}

func written(t testing.TB, d dicomio.DataSet, syntax string) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, dicomio.Write(&b, d, syntax))
	return b.Bytes()
}

func read(t testing.TB, data []byte) *dicomio.File {
	t.Helper()
	f, err := dicomio.Read(data, dicomio.DefaultLimits())
	require.NoError(t, err)
	return f
}

// raw encodes elements by hand, so that files need not come from the package's own writer.
type raw struct {
	implicit bool
	big      bool
}

var (
	explicitLE = raw{}
	implicitLE = raw{implicit: true}
	explicitBE = raw{big: true}
)

const undefined = 0xFFFFFFFF

func (r raw) order() binary.AppendByteOrder {
	if r.big {
		return binary.BigEndian
	}
	return binary.LittleEndian
}

func (r raw) tag(t dicomio.Tag) []byte {
	return r.order().AppendUint16(r.order().AppendUint16(nil, t.Group()), t.Number())
}

// head is an element's header with a claimed length.
func (r raw) head(t dicomio.Tag, vr string, length uint32) []byte {
	b := r.tag(t)
	if r.implicit || t.Group() == 0xFFFE {
		return r.order().AppendUint32(b, length)
	}
	b = append(b, vr...)
	switch vr {
	case "OB", "OD", "OF", "OL", "OV", "OW", "SQ", "SV", "UC", "UN", "UR", "UT", "UV":
		return r.order().AppendUint32(append(b, 0, 0), length)
	}
	return r.order().AppendUint16(b, uint16(length))
}

func (r raw) element(t dicomio.Tag, vr, value string) []byte {
	return append(r.head(t, vr, uint32(len(value))), value...)
}

func (r raw) open(t dicomio.Tag) []byte { return r.head(t, "SQ", undefined) }
func (r raw) item() []byte              { return r.head(0xFFFEE000, "", undefined) }
func (r raw) itemEnd() []byte           { return r.head(0xFFFEE00D, "", 0) }
func (r raw) close() []byte             { return r.head(0xFFFEE0DD, "", 0) }

// part10 puts preamble and file meta before an encoded data set.
func part10(syntax string, body ...[]byte) []byte {
	if len(syntax)&1 == 1 {
		syntax += "\x00"
	}
	meta := explicitLE.element(0x00020010, "UI", syntax)
	b := append(make([]byte, 128), "DICM"...)
	b = append(b, explicitLE.head(0x00020000, "UL", 4)...)
	b = binary.LittleEndian.AppendUint32(b, uint32(len(meta)))
	return append(append(b, meta...), bytes.Join(body, nil)...)
}

// identified is the beginning of a small explicit VR little endian data set.
func identified() []byte {
	return append(explicitLE.element(tagSOPClass, "UI", xRayDoseReport+"\x00"),
		explicitLE.element(tagSOPInstance, "UI", "2.25.1001\x00")...)
}
