package dicomio_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/report/dicomio"
)

func TestReadGivesWhatWasWritten(t *testing.T) {
	d := standard(sorted(everyVR()))
	for _, syntax := range []string{dicomio.ImplicitLittleEndian, dicomio.ExplicitLittleEndian, dicomio.DeflatedExplicit} {
		t.Run(syntax, func(t *testing.T) {
			data := written(t, d, syntax)
			f := read(t, data)
			assert.Equal(t, d, f.Data)
			assert.Equal(t, syntax, f.TransferSyntax)
			assert.Equal(t, syntax, f.Meta.Text(0x00020010))
			assert.Equal(t, "2.25.1001", f.Meta.Text(0x00020003))
			assert.Empty(t, f.Repairs)
			sum := sha256.Sum256(data)
			assert.Equal(t, hex.EncodeToString(sum[:]), f.BytesDigest)
			assert.Equal(t, dicomio.Digest(d), f.DataSetDigest)
		})
	}
}

// TestReadTakesAnyEncoding reads one report in hand-made encodings; none comes from the package's own writer.
func TestReadTakesAnyEncoding(t *testing.T) {
	d := doseReport(3)
	var deflatedBody bytes.Buffer
	deflatedBody.Write(deflated(t, definedLengths(explicitLE, d)))
	tests := map[string]struct {
		data    []byte
		syntax  string
		repairs []string
	}{
		"explicit":   {part10(dicomio.ExplicitLittleEndian, definedLengths(explicitLE, d)), dicomio.ExplicitLittleEndian, nil},
		"implicit":   {part10(dicomio.ImplicitLittleEndian, definedLengths(implicitLE, d)), dicomio.ImplicitLittleEndian, nil},
		"big endian": {part10(explicitBigEndian, definedLengths(explicitBE, d)), explicitBigEndian, nil},
		"deflated":   {part10(dicomio.DeflatedExplicit, deflatedBody.Bytes()), dicomio.DeflatedExplicit, nil},
		"deflated and padded": {
			part10(dicomio.DeflatedExplicit, deflatedBody.Bytes(), []byte{0}), dicomio.DeflatedExplicit, nil,
		},
		"bare explicit": {
			definedLengths(explicitLE, d), dicomio.ExplicitLittleEndian,
			[]string{"no preamble and file meta: explicit VR little endian assumed"},
		},
		"bare implicit": {
			definedLengths(implicitLE, d), dicomio.ImplicitLittleEndian,
			[]string{"no preamble and file meta: implicit VR little endian assumed"},
		},
		"meta without preamble": {
			part10(dicomio.ImplicitLittleEndian, definedLengths(implicitLE, d))[132:], dicomio.ImplicitLittleEndian,
			[]string{"no preamble before the file meta"},
		},
		"trailing padding element": {
			part10(dicomio.ExplicitLittleEndian, definedLengths(explicitLE, d), explicitLE.element(0xFFFCFFFC, "OB", "\x00\x00\x00\x00")),
			dicomio.ExplicitLittleEndian, nil,
		},
		"zeros behind": {
			part10(dicomio.ExplicitLittleEndian, definedLengths(explicitLE, d), make([]byte, 77)), dicomio.ExplicitLittleEndian,
			[]string{"77 zero bytes behind the data set were ignored"},
		},
		"group lengths": {
			part10(dicomio.ExplicitLittleEndian, explicitLE.element(0x00080000, "UL", "\x00\x01\x00\x00"), definedLengths(explicitLE, d)),
			dicomio.ExplicitLittleEndian, nil,
		},
		"empty group length": {
			part10(dicomio.ExplicitLittleEndian, explicitLE.element(0x00080000, "UL", ""), definedLengths(explicitLE, d)),
			dicomio.ExplicitLittleEndian, nil,
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			f := read(t, tt.data)
			assert.Equal(t, d, f.Data)
			assert.Equal(t, tt.syntax, f.TransferSyntax)
			assert.Equal(t, dicomio.Digest(d), f.DataSetDigest)
			assert.Equal(t, tt.repairs, f.Repairs)
		})
	}
}

func TestFileMetaWithFaults(t *testing.T) {
	syntax := explicitLE.element(0x00020010, "UI", dicomio.ExplicitLittleEndian+"\x00")
	front := append(make([]byte, 128), "DICM"...)
	tests := map[string]struct {
		meta   []byte
		repair []string
	}{
		"no group length":    {syntax, nil},
		"empty group length": {append(explicitLE.head(0x00020000, "UL", 0), syntax...), nil},
		"group length too small": {
			append(explicitLE.element(0x00020000, "UL", "\x05\x00\x00\x00"), syntax...),
			[]string{"group length of the file meta is wrong and was ignored"},
		},
		"group length too large": {
			append(explicitLE.element(0x00020000, "UL", "\x45\x00\x00\x00"), syntax...),
			[]string{"group length of the file meta is wrong and was ignored"},
		},
		"no transfer syntax": {
			explicitLE.element(0x00020001, "OB", "\x00\x01"),
			[]string{"no transfer syntax in the file meta: explicit VR little endian assumed"},
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			f := read(t, bytes.Join([][]byte{front, tt.meta, identified()}, nil))
			assert.Equal(t, "2.25.1001", f.Data.Text(tagSOPInstance))
			assert.Equal(t, tt.repair, f.Repairs)
			_, ok := f.Meta.Find(0x00020000)
			assert.False(t, ok, "group lengths are not kept")
		})
	}
}

func TestUnknownRepresentation(t *testing.T) {
	inner := append(implicitLE.element(0x00091011, "", "abcd"), implicitLE.element(tagCodeValue, "", "A1")...)
	wantInner := dicomio.DataSet{text(tagCodeValue, "SH", "A1"), {Tag: 0x00091011, VR: "UN", Bytes: []byte("abcd")}}
	items := append(implicitLE.head(0xFFFEE000, "", uint32(len(inner))), inner...)
	tests := map[string]struct {
		body []byte
		want dicomio.Element
	}{
		"private sequence of undefined length is implicit inside (CP-246)": {
			bytes.Join([][]byte{explicitLE.head(0x00091010, "UN", undefined), implicitLE.item(), inner, implicitLE.itemEnd(), implicitLE.close()}, nil),
			sequence(0x00091010, wantInner),
		},
		"private sequence of defined length stays bytes": {
			explicitLE.element(0x00091010, "UN", string(items)),
			dicomio.Element{Tag: 0x00091010, VR: "UN", Bytes: items},
		},
		"standard text is read as what it is": {
			explicitLE.element(0x00081030, "UN", "Arch repair "), text(0x00081030, "LO", "Arch repair"),
		},
		"standard sequence is read as what it is": {
			explicitLE.element(0x00081032, "UN", string(items)), sequence(0x00081032, wantInner),
		},
		"pixel data loses its bytes": {
			explicitLE.element(0x7FE00010, "OW", "abcd"), dicomio.Element{Tag: 0x7FE00010, VR: "OW"},
		},
		"fragments lose their bytes": {
			bytes.Join([][]byte{
				explicitLE.head(0x7FE00010, "OB", undefined), explicitLE.head(0xFFFEE000, "", 0),
				explicitLE.element(0xFFFEE000, "", "abcd"), explicitLE.close(),
			}, nil),
			dicomio.Element{Tag: 0x7FE00010, VR: "OB"},
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			f := read(t, part10(dicomio.ExplicitLittleEndian, identified(), tt.body))
			got, ok := f.Data.Find(tt.want.Tag)
			require.True(t, ok)
			if got.Items != nil {
				requireSound(t, got.Items[0])
				tt.want.Items[0] = sorted(tt.want.Items[0])
			}
			assert.Equal(t, tt.want, got)
		})
	}
}

func TestReadRepairs(t *testing.T) {
	t.Run("elements out of order", func(t *testing.T) {
		b := append(explicitLE.element(tagPatientName, "PN", "A^B "), identified()...)
		f := read(t, part10(dicomio.ExplicitLittleEndian, b))
		requireSound(t, f.Data)
		assert.Equal(t, "A^B", f.Data.Text(tagPatientName))
		assert.Equal(t, []string{"elements out of order were sorted at (0008,0016)"}, f.Repairs)
	})
	t.Run("odd length", func(t *testing.T) {
		f := read(t, part10(dicomio.ExplicitLittleEndian, identified(), explicitLE.element(tagPatientName, "PN", "A^B")))
		assert.Equal(t, "A^B", f.Data.Text(tagPatientName))
		assert.Equal(t, []string{"value of odd length at (0010,0010)"}, f.Repairs)
	})
	t.Run("brief when all is wrong", func(t *testing.T) {
		b := identified()
		for i := range 500 {
			b = append(b, explicitLE.element(dicomio.Tag(0x00111000+i), "LO", "\xe4\xe4")...)
		}
		f := read(t, part10(dicomio.ExplicitLittleEndian, b))
		require.Len(t, f.Repairs, 101)
		assert.Equal(t, "further repairs are not listed", f.Repairs[100])
	})
}

func TestValues(t *testing.T) {
	value := func(vr, v string) dicomio.Element {
		f := read(t, part10(dicomio.ExplicitLittleEndian, identified(), explicitLE.element(0x00111001, vr, v)))
		e, ok := f.Data.Find(0x00111001)
		require.True(t, ok)
		e.Bytes = nil // of an unknown element, besides the values
		return e
	}
	tests := map[string]struct {
		vr, value string
		want      []string
		floats    []float64
	}{
		"padding":                         {"DS", " 0.5 ", []string{"0.5"}, nil},
		"zero padding":                    {"UI", "1.2\x00", []string{"1.2"}, nil},
		"several, each trimmed":           {"DS", `1.0 \ 2`, []string{"1.0", "2"}, nil},
		"an empty one among others":       {"CS", `A\\B `, []string{"A", "", "B"}, nil},
		"only padding":                    {"LO", "    ", nil, nil},
		"nothing":                         {"LO", "", nil, nil},
		"trailing blanks of a text":       {"LT", "a\\b  ", []string{`a\b`}, nil},
		"unsigned 16":                     {"US", "\xff\xff\x01\x00", []string{"65535", "1"}, nil},
		"signed 16":                       {"SS", "\xff\xff", []string{"-1"}, nil},
		"unsigned 32":                     {"UL", "\xff\xff\xff\xff", []string{"4294967295"}, nil},
		"signed 32":                       {"SL", "\xfe\xff\xff\xff", []string{"-2"}, nil},
		"unsigned 64":                     {"UV", "\xff\xff\xff\xff\xff\xff\xff\xff", []string{"18446744073709551615"}, nil},
		"signed 64":                       {"SV", "\xfe\xff\xff\xff\xff\xff\xff\xff", []string{"-2"}, nil},
		"tag":                             {"AT", "\x08\x00\x18\x00", []string{"524312"}, nil},
		"single precision keeps its bits": {"FL", "\xcd\xcc\xcc\x3d", []string{"0.1"}, []float64{float64(float32(0.1))}},
		"double precision":                {"FD", "\x9a\x99\x99\x99\x99\x99\xb9\x3f", []string{"0.1"}, []float64{0.1}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got := value(tt.vr, tt.value)
			assert.Equal(t, tt.want, got.Values)
			assert.Equal(t, tt.floats, got.Floats)
			assert.Equal(t, tt.vr, got.VR)
		})
	}
}

// TestLargeAndSmallSequencesReadAlike: a sequence above a portion is taken apart, below it goes to the library whole.
func TestLargeAndSmallSequencesReadAlike(t *testing.T) {
	for _, events := range []int{0, 1, 7, 8, 9, 10, 60} {
		d := doseReport(events)
		assert.Equal(t, d, read(t, written(t, d, dicomio.ImplicitLittleEndian)).Data, "%d events", events)
	}
}

// TestLongValues: a value above a portion is decoded without the library, by the same rules.
func TestLongValues(t *testing.T) {
	const times = 20_000
	e := func(r raw, t dicomio.Tag, vr, value string) []byte {
		return r.element(t, vr, strings.Repeat(value, times))
	}
	body := func(r raw, word string) []byte {
		return bytes.Join([][]byte{
			r.element(tagCharacterSet, "CS", "ISO_IR 100"), e(r, 0x00091001, "UC", "B\xe4r "), e(r, 0x00091002, "OB", "abcd"),
			e(r, 0x00091003, "OW", word), e(r, 0x0040A160, "UT", "\\ \xe4"),
			r.open(tagContent), r.item(), e(r, 0x0040A160, "UT", "abc\xe4"), r.itemEnd(), r.close(),
		}, nil)
	}
	f := read(t, part10(dicomio.ExplicitLittleEndian, body(explicitLE, "abcd")))
	big := read(t, part10(explicitBigEndian, body(explicitBE, "badc")))
	assert.Equal(t, f.Data, big.Data)
	require.Len(t, f.Data, 6)
	assert.Equal(t, strings.TrimSpace(strings.Repeat("Bär ", times)), f.Data.Text(0x00091001))
	assert.Equal(t, strings.Repeat("B\xe4r ", times), string(f.Data[1].Bytes))
	assert.Equal(t, strings.Repeat("abcd", times), string(f.Data[2].Bytes))
	assert.Equal(t, strings.Repeat("abcd", times), string(f.Data[3].Bytes))
	assert.Equal(t, []string{strings.Repeat(`\ ä`, times)}, f.Data[4].Values)
	assert.Equal(t, strings.Repeat("abcä", times), f.Data.Items(tagContent)[0].Text(0x0040A160))
	assert.Empty(t, f.Repairs)
}

func TestDataSetLookups(t *testing.T) {
	d := doseReport(1)
	assert.Equal(t, "2.25.1001", d.Text(tagSOPInstance))
	assert.Empty(t, d.Text(tagPatientName+1))
	assert.Empty(t, d.Text(tagContent))
	assert.Len(t, d.Items(tagContent), 2)
	assert.Nil(t, d.Items(tagPatientName+1))
	_, ok := d.Find(tagPatientName + 1)
	assert.False(t, ok)
	assert.Equal(t, "(0040,A730)", tagContent.String())
}

// TestDigestTellsContentsApart changes one thing at a time.
func TestDigestTellsContentsApart(t *testing.T) {
	base := func() dicomio.DataSet { return sorted(everyVR()) }
	seen := map[string]string{dicomio.Digest(base()): "unchanged"}
	for i, e := range base() {
		change := map[string]func(*dicomio.Element){
			"value": func(e *dicomio.Element) {
				switch {
				case e.Floats != nil:
					e.Floats = []float64{2}
				case e.Values != nil:
					e.Values = []string{"2"}
				case e.Bytes != nil:
					e.Bytes = []byte("2 ")
				default:
					e.Items = nil
				}
			},
			"tag": func(e *dicomio.Element) { e.Tag++ },
		}
		for what, f := range change {
			d := base()
			f(&d[i])
			name := fmt.Sprint(what, " of ", e.Tag)
			digest := dicomio.Digest(d)
			assert.Empty(t, seen[digest], name)
			seen[digest] = name
		}
	}
	moved := dicomio.DataSet{sequence(tagContent, dicomio.DataSet{text(tagCodeValue, "SH", "1")}, dicomio.DataSet{})}
	other := dicomio.DataSet{sequence(tagContent, dicomio.DataSet{}, dicomio.DataSet{text(tagCodeValue, "SH", "1")})}
	assert.NotEqual(t, dicomio.Digest(moved), dicomio.Digest(other))
}

// anyDataSet draws data sets of standard text, numbers and sequences.
func anyDataSet(depth int) *rapid.Generator[dicomio.DataSet] {
	word := rapid.StringMatching(`[A-Za-zÄéЛ山0-9]([A-Za-zÄéЛ山0-9 .]{0,20}[A-Za-zÄéЛ山0-9])?`)
	return rapid.Custom(func(t *rapid.T) dicomio.DataSet {
		d := dicomio.DataSet{}
		some := func(e dicomio.Element) {
			if rapid.Bool().Draw(t, e.Tag.String()) {
				d = append(d, e)
			}
		}
		some(text(tagSOPInstance, "UI", rapid.StringMatching(`2\.25\.[1-9][0-9]{0,20}`).Draw(t, "uid")))
		some(text(tagManufacturer, "LO", rapid.SliceOfN(word, 1, 3).Draw(t, "words")...))
		some(text(tagComments, "LT", word.Draw(t, "text")))
		some(text(0x00101020, "DS"))
		f := rapid.Float64().Draw(t, "number")
		some(dicomio.Element{Tag: 0x00189073, VR: "FD", Floats: []float64{f}, Values: []string{strings.TrimSuffix(fmt.Sprint(f), "")}})
		some(dicomio.Element{Tag: 0x00280010, VR: "US", Values: []string{fmt.Sprint(rapid.Uint16().Draw(t, "count"))}})
		if depth > 0 {
			some(sequence(tagContent, rapid.SliceOfN(anyDataSet(depth-1), 0, 4).Draw(t, "items")...))
		}
		return sorted(d)
	})
}

func TestReadUndoesWrite(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		d := anyDataSet(3).Draw(rt, "data set")
		d = append(dicomio.DataSet{text(tagCharacterSet, "CS", "ISO_IR 192"), text(tagSOPClass, "UI", xRayDoseReport)}, d...)
		syntax := rapid.SampledFrom([]string{
			dicomio.ImplicitLittleEndian, dicomio.ExplicitLittleEndian, dicomio.DeflatedExplicit,
		}).Draw(rt, "syntax")
		f := read(t, written(t, d, syntax))
		require.Equal(rt, dicomio.Digest(d), f.DataSetDigest)
		require.Equal(rt, plainValues(d), plainValues(f.Data))
	})
}

// plainValues lists what a data set says, without telling nil from empty slices apart.
func plainValues(d dicomio.DataSet) string {
	var b strings.Builder
	for _, e := range d {
		fmt.Fprintf(&b, "%v %s %q %v [", e.Tag, e.VR, e.Values, e.Floats)
		for _, i := range e.Items {
			fmt.Fprintf(&b, "{%s}", plainValues(i))
		}
		b.WriteString("]\n")
	}
	return b.String()
}
