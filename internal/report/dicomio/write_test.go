package dicomio_test

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/report/dicomio"
)

func TestWriteSettlesTheCharacterSet(t *testing.T) {
	name := func(set []string, value string) dicomio.DataSet {
		d := dicomio.DataSet{text(tagSOPClass, "UI", xRayDoseReport), text(tagPatientName, "PN", value)}
		if set != nil {
			d = append(dicomio.DataSet{text(tagCharacterSet, "CS", set...)}, d...)
		}
		return d
	}
	tests := map[string]struct {
		set   []string
		value string
		want  string // declared in the file
		bytes string // in the file
	}{
		"ASCII needs none":           {nil, "Muller^A", "", "Muller^A"},
		"declared and fitting":       {[]string{"ISO_IR 100"}, "Müller^A", "ISO_IR 100", "M\xfcller^A"},
		"declared but not fitting":   {[]string{"ISO_IR 100"}, "Łódź", "ISO_IR 192", "Łódź"},
		"undeclared becomes UTF-8":   {nil, "Müller", "ISO_IR 192", "Müller"},
		"extensions become UTF-8":    {[]string{"", "ISO 2022 IR 87"}, "山田", "ISO_IR 192", "山田"},
		"UTF-8 stays":                {[]string{"ISO_IR 192"}, "山田", "ISO_IR 192", "山田"},
		"declaration without a need": {[]string{"ISO_IR 144"}, "Muller", "ISO_IR 144", "Muller"},
	}
	for label, tt := range tests {
		t.Run(label, func(t *testing.T) {
			d := name(tt.set, tt.value)
			before := plainValues(d)
			data := written(t, d, dicomio.ExplicitLittleEndian)
			assert.Contains(t, string(data), tt.bytes)
			f := read(t, data)
			assert.Equal(t, tt.value, f.Data.Text(tagPatientName))
			assert.Equal(t, tt.want, f.Data.Text(tagCharacterSet))
			assert.Empty(t, f.Repairs)
			assert.Equal(t, before, plainValues(d), "the argument is left alone")
		})
	}
}

func TestWriteInItemsWithTheirOwnCharacterSet(t *testing.T) {
	d := dicomio.DataSet{
		text(tagCharacterSet, "CS", "ISO_IR 100"),
		sequence(tagContent, dicomio.DataSet{text(tagCharacterSet, "CS", "ISO_IR 144"), text(tagMeaning, "LO", "Люк")}),
	}
	f := read(t, written(t, d, dicomio.ExplicitLittleEndian))
	assert.Equal(t, "ISO_IR 192", f.Data.Text(tagCharacterSet))
	item := f.Data.Items(tagContent)[0]
	assert.Equal(t, "Люк", item.Text(tagMeaning))
	assert.Len(t, item, 1)
}

func TestWriteRefuses(t *testing.T) {
	tests := map[string]struct {
		d      dicomio.DataSet
		syntax string
		want   error
	}{
		"big endian": {doseReport(0), explicitBigEndian, dicomio.ErrTransferSyntax},
		"no syntax":  {doseReport(0), "", dicomio.ErrTransferSyntax},
		"no VR":      {dicomio.DataSet{{Tag: tagManufacturer, Values: []string{"A"}}}, dicomio.ExplicitLittleEndian, dicomio.ErrBroken},
		"no integer": {dicomio.DataSet{text(0x00280010, "US", "many")}, dicomio.ExplicitLittleEndian, dicomio.ErrBroken},
		"no number":  {dicomio.DataSet{text(0x00189073, "FD", "long")}, dicomio.ExplicitLittleEndian, dicomio.ErrBroken},
		"in an item": {dicomio.DataSet{sequence(tagContent, dicomio.DataSet{text(0x00280010, "US", "many")})}, dicomio.ExplicitLittleEndian, dicomio.ErrBroken},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			var b bytes.Buffer
			require.ErrorIs(t, dicomio.Write(&b, tt.d, tt.syntax), tt.want)
			assert.Zero(t, b.Len(), "nothing is written before all is encoded")
		})
	}
}

func TestWriteLongValues(t *testing.T) {
	long := strings.Repeat("long text ", 10_000)
	d := dicomio.DataSet{
		text(tagComments, "LT", strings.TrimSpace(long)),
		{Tag: 0x00189073, VR: "FD", Values: []string{"0.5"}},
		text(0x0040A160, "UT", strings.TrimSpace(long)),
		{Tag: 0x00420011, VR: "OB", Bytes: []byte("odd")},
	}
	for _, syntax := range []string{dicomio.ImplicitLittleEndian, dicomio.ExplicitLittleEndian} {
		f := read(t, written(t, d, syntax))
		assert.Equal(t, d[0], f.Data[0], "a value too long for its VR is UN in the file and read as what it is")
		assert.Equal(t, []float64{0.5}, f.Data[1].Floats)
		assert.Equal(t, d[2], f.Data[2])
		assert.Equal(t, []byte("odd\x00"), f.Data[3].Bytes)
	}
}

func TestWriteOfRareRepresentations(t *testing.T) {
	many := dicomio.Element{Tag: 0x00280010, VR: "US"}
	for i := range 40_000 {
		many.Values = append(many.Values, fmt.Sprint(i))
	}
	d := dicomio.DataSet{
		{Tag: 0x0008040D, VR: "UV", Values: []string{"18446744073709551615"}},
		{Tag: 0x00091001, VR: "SV", Values: []string{"-2"}, Bytes: []byte("\xfe\xff\xff\xff\xff\xff\xff\xff")},
		{Tag: 0x00091002, VR: "OV", Bytes: []byte("8 bytes.")},
		{Tag: 0x00221464, VR: "OD", Bytes: []byte("8 bytes.")},
		many,
	}
	for _, syntax := range []string{dicomio.ImplicitLittleEndian, dicomio.ExplicitLittleEndian} {
		f := read(t, written(t, d, syntax))
		require.Len(t, f.Data, len(d))
		assert.Equal(t, d[0].Values, f.Data[0].Values)
		assert.Equal(t, d[1].Bytes, f.Data[1].Bytes)
		assert.Equal(t, d[2].Bytes, f.Data[2].Bytes)
		assert.Equal(t, d[3].Bytes, f.Data[3].Bytes)
		assert.Equal(t, "UN", f.Data[4].VR, "too long for a short length, PS3.5 section 6.2.2")
		assert.Len(t, f.Data[4].Bytes, 80_000)
	}
}

// full takes so many writes and then no more.
type full struct{ left int }

var errFull = errors.New("disk full")

func (f *full) Write(p []byte) (int, error) {
	if f.left == 0 {
		return 0, errFull
	}
	f.left--
	return len(p), nil
}

func TestWritePassesTheErrorOn(t *testing.T) {
	for left := range 2 {
		assert.ErrorIs(t, dicomio.Write(&full{left}, doseReport(1), dicomio.ExplicitLittleEndian), errFull)
		assert.ErrorIs(t, dicomio.Write(&full{left}, doseReport(1), dicomio.DeflatedExplicit), errFull)
	}
}
