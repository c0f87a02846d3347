package dicomio_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/peer"
	"afterbeam/internal/report/dicomio"
)

// everyVR is a data set with each value representation, standard and private.
func everyVR() dicomio.DataSet {
	e := func(t dicomio.Tag, vr string, values ...string) dicomio.Element { return text(t, vr, values...) }
	return dicomio.DataSet{
		e(tagCharacterSet, "CS", "ISO_IR 100"),
		e(0x00080008, "CS", "DERIVED", "SECONDARY"),
		e(tagSOPClass, "UI", xRayDoseReport),
		e(tagSOPInstance, "UI", "2.25.1001"),
		e(0x00080020, "DA", "20260301"),
		e(0x0008002A, "DT", "20260301101500.5+0100"),
		e(0x00080030, "TM", "101500"),
		e(0x00080054, "AE", "ROOM1"),
		e(0x00080060, "CS", "SR"),
		e(tagManufacturer, "LO", "Invented Imaging"),
		e(0x00080120, "UR", "urn:oid:2.25.9"),
		e(0x00091001, "LO", "private text"),
		{Tag: 0x00091002, VR: "US", Values: []string{"7", "513"}},
		{Tag: 0x00091003, VR: "FD", Values: []string{"0.1"}, Floats: []float64{0.1}},
		{Tag: 0x00091004, VR: "UN", Bytes: []byte{1, 2, 3, 4}},
		sequence(0x00091005, dicomio.DataSet{
			e(tagCodeValue, "SH", "A1"), e(0x00091001, "LO", "odd"), sequence(0x00091006, dicomio.DataSet{e(tagScheme, "SH", "99X")}),
		}, dicomio.DataSet{}),
		e(tagPatientName, "PN", "Fictïonal^Pätient"),
		e(0x00101010, "AS", "061Y"),
		e(0x00101020, "DS", "1.75"),
		e(tagComments, "LT", `a\b`+" ünd\r\nmore"),
		{Tag: 0x00189073, VR: "FD", Values: []string{"-0.3333333333333333"}, Floats: []float64{-0.3333333333333333}},
		e(tagStudy, "UI", "2.25.1002"),
		e(0x00200013, "IS", "-12"),
		{Tag: 0x00280009, VR: "AT", Values: []string{fmt.Sprint(0x00181063), fmt.Sprint(0x00181065)}},
		{Tag: 0x00280010, VR: "US", Values: []string{"65535"}},
		{Tag: 0x00289503, VR: "SS", Values: []string{"1", "-2", "3"}},
		e(0x0040A160, "UT", "long text"),
		sequence(tagContent, code("1", "99X", "Straße"), dicomio.DataSet{}),
		{Tag: 0x00420011, VR: "OB", Bytes: []byte("bytes.")},
		{Tag: 0x00660016, VR: "OF", Bytes: []byte{0, 0, 0x80, 0x3F, 0, 0, 0, 0x40}},
		{Tag: 0x00660040, VR: "OL", Bytes: []byte{1, 0, 0, 0, 2, 0, 0, 0}},
		{Tag: 0x00700022, VR: "FL", Values: []string{"0.1", "-3.5"}, Floats: []float64{float64(float32(0.1)), -3.5}},
		{Tag: 0x00186020, VR: "SL", Values: []string{"-70000"}},
		{Tag: 0x00189219, VR: "SS", Values: []string{"-5"}},
		{Tag: 0x00186018, VR: "UL", Values: []string{"4000000000"}},
	}
}

func sorted(d dicomio.DataSet) dicomio.DataSet {
	slices.SortFunc(d, func(a, b dicomio.Element) int { return int(int64(a.Tag) - int64(b.Tag)) })
	return d
}

// standard keeps what the dictionary knows, whose VR and so whose value is the same in every transfer syntax.
func standard(d dicomio.DataSet) dicomio.DataSet {
	return slices.DeleteFunc(slices.Clone(d), func(e dicomio.Element) bool { return e.Tag.Private() })
}

func save(t testing.TB, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "file.dcm")
	require.NoError(t, os.WriteFile(path, data, 0o600))
	return path
}

// TestOtherWriters has DCMTK write a file again in all its ways; it must say the same.
func TestOtherWriters(t *testing.T) {
	dcmconv := peer.Need(t, "dcmconv")
	files := map[string]dicomio.DataSet{
		"dose report": doseReport(40), // large enough for sequences that are taken apart
		"every VR":    sorted(everyVR()),
	}
	for name, d := range files {
		path := save(t, written(t, d, dicomio.ExplicitLittleEndian))
		want := read(t, written(t, d, dicomio.ExplicitLittleEndian))
		require.Equal(t, standard(d), standard(want.Data))
		for _, syntax := range []string{"+ti", "+te", "+tb", "+td"} {
			for _, how := range []string{"+e", "-e", "-g", "+g", "+e +g +p 1024 512", "-e -F", "-p"} {
				// A bare data set doesn't say that it is big endian or deflated.
				if how == "-e -F" && (syntax == "+tb" || syntax == "+td") {
					continue
				}
				t.Run(name+" "+syntax+" "+how, func(t *testing.T) {
					out := filepath.Join(t.TempDir(), "out.dcm")
					args := append(append([]string{"-q", syntax}, strings.Fields(how)...), path, out)
					said, err := exec.Command(dcmconv, args...).CombinedOutput()
					require.NoError(t, err, string(said))
					data, err := os.ReadFile(out)
					require.NoError(t, err)
					got := read(t, data)
					assert.Equal(t, standard(want.Data), standard(got.Data))
					assert.Equal(t, want.DataSetDigest, got.DataSetDigest)
				})
			}
		}
	}
}

// TestOtherReader has DCMTK read what Write wrote, without a word of warning, and checks the values it prints.
func TestOtherReader(t *testing.T) {
	dcmdump := peer.Need(t, "dcmdump")
	for _, syntax := range []string{dicomio.ImplicitLittleEndian, dicomio.ExplicitLittleEndian, dicomio.DeflatedExplicit} {
		t.Run(syntax, func(t *testing.T) {
			d := sorted(everyVR())
			if syntax == dicomio.ImplicitLittleEndian {
				d = standard(d) // DCMTK remarks on private sequences, whose VR implicit encoding does not tell
			}
			path := save(t, written(t, d, syntax))
			out, err := exec.Command(dcmdump, "+L", "-Un", "+U8", path).CombinedOutput()
			require.NoError(t, err, string(out))
			for _, unwanted := range []string{"W:", "E:", "F:"} {
				assert.NotContains(t, string(out), unwanted)
			}
			for _, want := range []string{
				"(0008,0016) UI [" + xRayDoseReport + "]", `(0008,0008) CS [DERIVED\SECONDARY]`, "(0010,0010) PN [Fictïonal^Pätient]",
				"(0018,9073) FD -0.3333333333333333", `(0028,0009) AT (0018,1063)\(0018,1065)`, "(0018,9219) SS -5",
				"(0018,6018) UL 4000000000", `(0070,0022) FL 0.1`, "LO [Straße]", "(0008,0120) UR [urn:oid:2.25.9]",
				"(0002,0003) UI [2.25.1001]", "(0002,0013) SH [AFTERBEAM]",
			} {
				assert.Contains(t, string(out), want)
			}
		})
	}
}

// TestOtherReaderOfStructuredReports has DCMTK read the tree.
func TestOtherReaderOfStructuredReports(t *testing.T) {
	dcmdump := peer.Need(t, "dcmdump")
	out, err := exec.Command(dcmdump, "-q", "+P", "0040,a30a", save(t, written(t, doseReport(20), dicomio.ImplicitLittleEndian))).Output()
	require.NoError(t, err)
	assert.Equal(t, 20*30, strings.Count(string(out), "DS ["))
}
