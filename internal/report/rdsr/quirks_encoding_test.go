package rdsr_test

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
)

// The transfer syntaxes, undefined lengths and files without meta are in TestRewrittenFilesReadTheSame; the character
// sets with escape sequences in the tests of dicomio.
func TestQuirksOfEncoding(t *testing.T) {
	withComment := func(charset, comment string) []byte {
		r := singlePlane()
		r.Comment = comment
		set := rdsr.DataSet(r, rdsr.WriteOptions{})
		put(&set, text(0x00080005, "CS", charset))
		return encoded(t, set)
	}
	comment := func(want string) func(*testing.T, *procedure.Report) {
		return func(t *testing.T, r *procedure.Report) {
			t.Helper()
			assert.Equal(t, want, r.Comment)
		}
	}
	deep := func() []byte {
		set := rdsr.DataSet(singlePlane(), rdsr.WriteOptions{})
		item := numItem(kerma, "1", "Gy")
		for range 40 {
			item = dicomio.DataSet{items(tagContent, item)}
		}
		add(&set, item)
		return encoded(t, set)
	}
	rows := map[string]struct {
		data     []byte
		findings []string
		check    func(*testing.T, *procedure.Report)
		err      error
	}{
		"ISO_IR 100": {data: withComment("ISO_IR 100", "Prüfung Größe"), check: comment("Prüfung Größe")},
		"ISO_IR 192": {data: withComment("ISO_IR 192", "手術室 Größe"), check: comment("手術室 Größe")},
		"ISO_IR 101": {data: withComment("ISO_IR 101", "Łódź"), check: comment("Łódź")},
		"ISO_IR 144": {data: withComment("ISO_IR 144", "Доза"), check: comment("Доза")},
		"Latin-1 bytes with no character set": {
			data:     bytes.Replace(withComment("ISO_IR 100", "Prüfung Größe"), []byte("ISO_IR 100"), []byte("ISO_IR 6  "), 1),
			findings: []string{"repaired encoding"},
			check:    comment("Prüfung Größe"),
		},
		"bare data set without preamble and meta": {
			data:  bare(t),
			check: wantKerma,
		},
		"nesting deeper than any template": {data: deep(), err: dicomio.ErrLimit},
		"cut off in the middle":            {data: withComment("ISO_IR 100", "")[:9000], err: dicomio.ErrTruncated},
	}
	for name, row := range rows {
		t.Run(name, func(t *testing.T) {
			got, err := rdsr.Read(row.data, rdsr.Options{})
			if row.err != nil {
				require.ErrorIs(t, err, row.err)
				return
			}
			require.NoError(t, err)
			for _, want := range row.findings {
				assert.Contains(t, rulesOf(got), want)
			}
			row.check(t, got)
		})
	}
}

// bare gives a report as a raw network dump holds it: implicit little endian, nothing in front of the first element.
func bare(t *testing.T) []byte {
	t.Helper()
	data := written(t, singlePlane(), rdsr.WriteOptions{TransferSyntax: dicomio.ImplicitLittleEndian})
	start := bytes.Index(data, []byte{0x08, 0x00, 0x05, 0x00})
	require.Positive(t, start)
	return data[start:]
}
