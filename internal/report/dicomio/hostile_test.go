package dicomio_test

import (
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/report/dicomio"
)

// kinds are all the errors Read may give.
var kinds = []error{
	dicomio.ErrNotDICOM, dicomio.ErrTruncated, dicomio.ErrLimit, dicomio.ErrTransferSyntax, dicomio.ErrBroken,
}

func oneKind(err error) bool {
	n := 0
	for _, k := range kinds {
		if errors.Is(err, k) {
			n++
		}
	}
	return n == 1
}

func zipped(t *testing.T, data []byte) []byte {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, err := w.Write(data)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	return b.Bytes()
}

func TestReadRefuses(t *testing.T) {
	le := dicomio.ExplicitLittleEndian
	item := func(body ...[]byte) []byte { return bytes.Join(body, nil) }
	definedLength := func(body []byte) []byte {
		return append(explicitLE.head(tagContent, "SQ", uint32(len(body))), body...)
	}
	tests := map[string]struct {
		data []byte
		want error
	}{
		"nothing":               {nil, dicomio.ErrNotDICOM},
		"plain text":            {bytes.Repeat([]byte("only words "), 3000), dicomio.ErrNotDICOM},
		"gzip":                  {zipped(t, written(t, doseReport(1), le)), dicomio.ErrNotDICOM},
		"a JPEG file":           {append([]byte{0xFF, 0xD8, 0xFF, 0xE0, 0, 16, 'J', 'F', 'I', 'F', 0}, make([]byte, 400)...), dicomio.ErrNotDICOM},
		"zeros":                 {make([]byte, 4096), dicomio.ErrNotDICOM},
		"preamble alone":        {append(make([]byte, 128), "DICM"...), dicomio.ErrBroken},
		"file meta cut off":     {part10(le)[:140], dicomio.ErrTruncated},
		"JPEG transfer syntax":  {part10("1.2.840.10008.1.2.4.50", identified()), dicomio.ErrTransferSyntax},
		"no transfer syntax":    {part10("nonsense", identified()), dicomio.ErrTransferSyntax},
		"deflated garbage":      {part10(dicomio.DeflatedExplicit, []byte("\x07 no deflate")), dicomio.ErrBroken},
		"deflated, cut":         {cut(written(t, doseReport(5), dicomio.DeflatedExplicit), 20), dicomio.ErrTruncated},
		"deflated, then more":   {append(written(t, doseReport(1), dicomio.DeflatedExplicit), "more"...), dicomio.ErrBroken},
		"header cut off":        {part10(le, identified(), []byte{0x10, 0, 0x10, 0, 'P'}), dicomio.ErrTruncated},
		"value behind the end":  {part10(le, identified(), explicitLE.head(tagPatientName, "PN", 500)), dicomio.ErrTruncated},
		"unknown VR":            {part10(le, identified(), explicitLE.element(tagPatientName, "QQ", "AB")), dicomio.ErrBroken},
		"length FFFF":           {part10(le, identified(), explicitLE.head(tagPatientName, "PN", 0xFFFF)), dicomio.ErrTruncated},
		"undefined text":        {part10(le, identified(), explicitLE.head(0x0040A160, "UT", undefined), explicitLE.close()), dicomio.ErrBroken},
		"US of three bytes":     {part10(le, identified(), explicitLE.element(0x00280010, "US", "abc")), dicomio.ErrBroken},
		"element twice":         {part10(le, identified(), identified()), dicomio.ErrBroken},
		"command element":       {part10(le, identified(), explicitLE.element(0x00000002, "UI", "1.2 ")), dicomio.ErrBroken},
		"file meta element":     {part10(le, identified(), explicitLE.element(0x00020016, "AE", "ROOM")), dicomio.ErrBroken},
		"garbage behind":        {part10(le, identified(), []byte("garbage behind the data set")), dicomio.ErrBroken},
		"sequence never closed": {part10(le, identified(), explicitLE.open(tagContent)), dicomio.ErrTruncated},
		"item never closed":     {part10(le, identified(), explicitLE.open(tagContent), explicitLE.item()), dicomio.ErrTruncated},
		"delimiter at the top":  {part10(le, identified(), explicitLE.itemEnd()), dicomio.ErrBroken},
		"delimiter with length": {part10(le, identified(), explicitLE.open(tagContent), explicitLE.head(0xFFFEE0DD, "", 2), []byte("ab")), dicomio.ErrBroken},
		"wrong delimiter": {
			part10(le, identified(), explicitLE.open(tagContent), explicitLE.item(), explicitLE.close(), explicitLE.close()), dicomio.ErrBroken,
		},
		"non-item in a defined length": {
			part10(le, identified(), definedLength(explicitLE.element(tagValueType, "CS", "TEXT"))), dicomio.ErrBroken,
		},
		"non-item in an undefined length": {
			part10(le, identified(), explicitLE.open(tagContent), explicitLE.element(tagValueType, "CS", "TEXT")), dicomio.ErrBroken,
		},
		"delimiter in a defined length": {part10(le, identified(), definedLength(explicitLE.close())), dicomio.ErrBroken},
		"item longer than its sequence": {
			part10(le, identified(), definedLength(item(explicitLE.head(0xFFFEE000, "", 100), explicitLE.element(tagValueType, "CS", "TEXT"))), make([]byte, 200)),
			dicomio.ErrBroken,
		},
		"value longer than its item": {
			part10(le, identified(), definedLength(item(explicitLE.head(0xFFFEE000, "", 12), explicitLE.head(tagValueType, "CS", 100), []byte("TEXT"))), make([]byte, 200)),
			dicomio.ErrBroken,
		},
		"undefined item in a defined sequence": {
			part10(le, identified(), definedLength(explicitLE.item()), make([]byte, 64)), dicomio.ErrBroken,
		},
		"pixel data as a sequence": {part10(le, identified(), explicitLE.open(0x7FE00010), explicitLE.close()), dicomio.ErrBroken},
		"fragments never closed": {
			part10(le, identified(), explicitLE.head(0x7FE00010, "OB", undefined), explicitLE.head(0xFFFEE000, "", 4), []byte("abcd")), dicomio.ErrTruncated,
		},
		"33 sequences deep": {part10(le, identified(), nested(33)), dicomio.ErrLimit},
		"10,001 items":      {part10(le, identified(), many(10_001)), dicomio.ErrLimit},
		"49 MiB":            {make([]byte, 49<<20), dicomio.ErrLimit},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			f, err := dicomio.Read(tt.data, dicomio.DefaultLimits())
			require.ErrorIs(t, err, tt.want)
			assert.Nil(t, f)
			assert.True(t, oneKind(err), "%v", err)
			assert.Less(t, len(err.Error()), 200, "one level of text")
		})
	}
}

func cut(data []byte, n int) []byte { return data[:len(data)-n] }

func TestReadRefusalTellsThePlace(t *testing.T) {
	data := part10(dicomio.ExplicitLittleEndian, identified(), explicitLE.head(tagPatientName, "PN", 500), []byte("Secret^Name"))
	_, err := dicomio.Read(data, dicomio.DefaultLimits())
	want := fmt.Sprintf("DICOM file is cut short: value longer than what is left at byte %d, element (0010,0010)", len(data)-19)
	require.EqualError(t, err, want)
}

func TestReadAcceptsUpToTheLimits(t *testing.T) {
	le := dicomio.ExplicitLittleEndian
	deep := nested(32)
	for range 32 {
		deep = append(append(deep, explicitLE.itemEnd()...), explicitLE.close()...)
	}
	assert.Equal(t, 2, len(read(t, part10(le, identified(), many(10_000))).Data.Items(tagContent)[:2]))
	assert.Len(t, read(t, part10(le, identified(), many(10_000))).Data.Items(tagContent), 10_000)
	d := read(t, part10(le, identified(), deep)).Data
	for range 32 {
		require.Len(t, d.Items(tagContent), 1)
		d = d.Items(tagContent)[0]
	}
	assert.Empty(t, d)
}

// definedLengths writes a data set again with every length defined, from the innermost outwards.
func definedLengths(r raw, d dicomio.DataSet) []byte {
	var b []byte
	for _, e := range d {
		if e.VR != "SQ" {
			b = append(b, r.element(e.Tag, e.VR, even(e))...)
			continue
		}
		var items []byte
		for _, i := range e.Items {
			body := definedLengths(r, i)
			items = append(append(items, r.head(0xFFFEE000, "", uint32(len(body)))...), body...)
		}
		b = append(append(b, r.head(e.Tag, "SQ", uint32(len(items)))...), items...)
	}
	return b
}

// even gives the padded value of an element of text.
func even(e dicomio.Element) string {
	v := ""
	for i, s := range e.Values {
		if i > 0 {
			v += `\`
		}
		v += s
	}
	if len(v)%2 == 1 {
		pad := " "
		if e.VR == "UI" {
			pad = "\x00"
		}
		v += pad
	}
	return v
}

// TestReadRefusesCutFiles cuts valid files at many places. A place between two elements of the top level leaves a
// well-formed file, so the places lie elsewhere: behind the beginning of the last sequence.
func TestReadRefusesCutFiles(t *testing.T) {
	files := map[string][]byte{
		"undefined lengths, explicit": written(t, doseReport(3), dicomio.ExplicitLittleEndian),
		"undefined lengths, implicit": written(t, doseReport(3), dicomio.ImplicitLittleEndian),
		"defined lengths, explicit":   part10(dicomio.ExplicitLittleEndian, definedLengths(explicitLE, doseReport(3))),
		"defined lengths, implicit":   part10(dicomio.ImplicitLittleEndian, definedLengths(implicitLE, doseReport(3))),
		"defined lengths, big endian": part10(explicitBigEndian, definedLengths(explicitBE, doseReport(3))),
		"deflated":                    written(t, doseReport(3), dicomio.DeflatedExplicit),
	}
	for name, data := range files {
		t.Run(name, func(t *testing.T) {
			read(t, data)
			tail := min(len(data)-600, 20_000)
			for i := range 60 {
				n := 1 + i*tail/60
				_, err := dicomio.Read(cut(data, n), dicomio.DefaultLimits())
				require.ErrorIs(t, err, dicomio.ErrTruncated, "%d bytes short", n)
				_, err = dicomio.Identify(cut(data, n), dicomio.DefaultLimits())
				require.ErrorIs(t, err, dicomio.ErrTruncated, "%d bytes short", n)
			}
			for n := 1; n <= 300; n++ { // every place in the closing part
				_, err := dicomio.Read(cut(data, n), dicomio.DefaultLimits())
				require.ErrorIs(t, err, dicomio.ErrTruncated, "%d bytes short", n)
			}
		})
	}
}

// mutate flips bytes, cuts parts out, or puts another length where one may stand.
func mutate(rnd *rand.Rand, data []byte) []byte {
	m := bytes.Clone(data)
	for range 1 + rnd.IntN(4) {
		at := rnd.IntN(len(m) - 8)
		switch rnd.IntN(5) {
		case 0:
			m[at] ^= 1 << rnd.IntN(8)
		case 1:
			m[at] = byte(rnd.UintN(256))
		case 2:
			n := min(1+rnd.IntN(64), len(m)-at-8)
			m = append(m[:at], m[at+n:]...)
		case 3:
			lengths := []uint32{0, 1, 8, 0xFFFE, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFE, undefined, rnd.Uint32N(70_000)}
			binary.LittleEndian.PutUint32(m[at:], lengths[rnd.IntN(len(lengths))])
		case 4:
			binary.LittleEndian.PutUint16(m[at:], uint16(rnd.UintN(1<<16)))
		}
		if len(m) < 200 {
			break
		}
	}
	return m
}

func TestReadSurvivesMutants(t *testing.T) {
	const mutants = 2000
	report := doseReport(2)
	files := [][]byte{
		written(t, report, dicomio.ExplicitLittleEndian),
		written(t, report, dicomio.ImplicitLittleEndian),
		written(t, report, dicomio.DeflatedExplicit),
		part10(dicomio.ExplicitLittleEndian, definedLengths(explicitLE, report)),
		part10(explicitBigEndian, definedLengths(explicitBE, report)),
		written(t, report, dicomio.ImplicitLittleEndian)[336:], // a bare data set
	}
	rnd := rand.New(rand.NewPCG(20, 26))
	accepted := 0
	for i := range mutants {
		data := mutate(rnd, files[i%len(files)])
		if survives(t, data) {
			accepted++
		}
	}
	t.Logf("%d of %d mutants still read", accepted, mutants)
}

// survives wants of Read and Identify that they agree, and of what was read that it stands up to use. It tells whether
// the data was read.
func survives(t testing.TB, data []byte) bool {
	t.Helper()
	lim := dicomio.DefaultLimits()
	f, err := dicomio.Read(data, lim)
	id, idErr := dicomio.Identify(data, lim)
	if err != nil {
		require.True(t, oneKind(err), "%v", err)
		if idErr != nil {
			require.Equal(t, err.Error(), idErr.Error())
		}
		return false
	}
	require.NoError(t, idErr)
	require.Equal(t, f.TransferSyntax, id.TransferSyntax)
	require.Equal(t, f.DataSetDigest, dicomio.Digest(f.Data))
	requireSound(t, f.Meta)
	requireSound(t, f.Data)
	return true
}
