package dicomio_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/report/dicomio"
)

func BenchmarkRead(b *testing.B) {
	data := written(b, doseReport(1000), dicomio.ExplicitLittleEndian)
	b.Run("1000 events", func(b *testing.B) {
		b.SetBytes(int64(len(data)))
		b.ReportAllocs()
		for b.Loop() {
			_, err := dicomio.Read(data, dicomio.DefaultLimits())
			require.NoError(b, err)
		}
	})
}

func BenchmarkIdentify(b *testing.B) {
	data := written(b, doseReport(1000), dicomio.ExplicitLittleEndian)
	b.Run("1000 events", func(b *testing.B) {
		b.SetBytes(int64(len(data)))
		b.ReportAllocs()
		for b.Loop() {
			_, err := dicomio.Identify(data, dicomio.DefaultLimits())
			require.NoError(b, err)
		}
	})
}
