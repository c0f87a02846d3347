package rdsr_test

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
)

// FuzzRead wants no panic on any bytes, and that a report which is accepted and written comes to rest: what is read of
// the first writing is read of every later one.
func FuzzRead(f *testing.F) {
	for _, report := range shapes() {
		f.Add(written(f, report, rdsr.WriteOptions{}))
	}
	f.Add(written(f, singlePlane(), rdsr.WriteOptions{CodeGeneration: rdsr.CodesSRT, TransferSyntax: dicomio.ImplicitLittleEndian}))
	odd := rdsr.DataSet(biplane(), rdsr.WriteOptions{})
	number(&odd, "12,3", "", event, kerma)
	number(&odd, "0", "", event, "113733")
	number(&odd, "340", "", event, "112011")
	f.Add(encoded(f, odd))
	f.Fuzz(func(t *testing.T, data []byte) {
		first, err := rdsr.Read(data, rdsr.Options{})
		if err != nil {
			require.Nil(t, first)
			return
		}
		require.NotEmpty(t, first.StudyUID)
		require.NotEmpty(t, first.ContentDigest)
		var out bytes.Buffer
		if err := rdsr.Write(&out, first, rdsr.WriteOptions{}); err != nil {
			require.ErrorIs(t, err, rdsr.ErrUnwritable)
			return
		}
		second, err := rdsr.Read(out.Bytes(), rdsr.Options{})
		require.NoError(t, err)
		third, err := rdsr.Read(written(t, second, rdsr.WriteOptions{}), rdsr.Options{})
		require.NoError(t, err)
		require.Equal(t, carried(second), carried(third))
	})
}
