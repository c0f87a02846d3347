package httpapi_test

import (
	"bytes"

	"afterbeam/internal/report/dicomio"
)

// doseReport writes the smallest object that the guard takes for a dose report, of the planted patient.
func doseReport(instance string) string { return written(instance, "1.2.840.10008.5.1.4.1.1.88.67") }

// written writes an object of a SOP class (PS3.4 annex B.5).
func written(instance, class string) string {
	text := func(tag dicomio.Tag, vr, value string) dicomio.Element {
		return dicomio.Element{Tag: tag, VR: vr, Values: []string{value}}
	}
	code := func(value, meaning string) []dicomio.DataSet {
		return []dicomio.DataSet{{text(0x00080100, "SH", value), text(0x00080102, "SH", "DCM"), text(0x00080104, "LO", meaning)}}
	}
	content := dicomio.DataSet{
		text(0x0040A010, "CS", "HAS CONCEPT MOD"), text(0x0040A040, "CS", "CODE"),
		{Tag: 0x0040A043, VR: "SQ", Items: code("121058", "Procedure reported")},
		{Tag: 0x0040A168, VR: "SQ", Items: code("113704", "Projection X-Ray")},
	}
	set := dicomio.DataSet{
		text(0x00080016, "UI", class), text(0x00080018, "UI", instance),
		text(0x00100010, "PN", plantedName), text(0x00100020, "LO", plantedNumber), text(0x00100030, "DA", "19490307"),
		text(0x0020000D, "UI", "2.25.1002"),
		{Tag: 0x0040A730, VR: "SQ", Items: []dicomio.DataSet{content}},
	}
	var out bytes.Buffer
	if err := dicomio.Write(&out, set, dicomio.ExplicitLittleEndian); err != nil {
		panic(err)
	}
	return out.String()
}
