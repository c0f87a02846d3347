package dicomio_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/report/dicomio"
)

func TestIdentify(t *testing.T) {
	report := doseReport(2)
	want := dicomio.Identity{
		SOPClassUID: xRayDoseReport, SOPInstanceUID: "2.25.1001", StudyUID: "2.25.1002",
		ProcedureReported: [2]string{"113704", "DCM"},
	}
	with := func(syntax string) dicomio.Identity {
		id := want
		id.TransferSyntax = syntax
		return id
	}
	tests := map[string]struct {
		data []byte
		want dicomio.Identity
		err  error
	}{
		"explicit":   {written(t, report, dicomio.ExplicitLittleEndian), with(dicomio.ExplicitLittleEndian), nil},
		"implicit":   {written(t, report, dicomio.ImplicitLittleEndian), with(dicomio.ImplicitLittleEndian), nil},
		"deflated":   {written(t, report, dicomio.DeflatedExplicit), with(dicomio.DeflatedExplicit), nil},
		"big endian": {part10(explicitBigEndian, definedLengths(explicitBE, report)), with(explicitBigEndian), nil},
		"bare":       {definedLengths(implicitLE, report), with(dicomio.ImplicitLittleEndian), nil},
		"cut short, the rest is told": {
			cut(written(t, report, dicomio.ExplicitLittleEndian), 50), with(dicomio.ExplicitLittleEndian), dicomio.ErrTruncated,
		},
		"no report": {
			part10(dicomio.ExplicitLittleEndian, identified()),
			dicomio.Identity{SOPClassUID: xRayDoseReport, SOPInstanceUID: "2.25.1001", TransferSyntax: dicomio.ExplicitLittleEndian},
			nil,
		},
		"compressed image": {
			part10("1.2.840.10008.1.2.4.50", identified(), explicitLE.head(0x7FE00010, "OB", undefined), explicitLE.close()),
			dicomio.Identity{SOPClassUID: xRayDoseReport, SOPInstanceUID: "2.25.1001", TransferSyntax: "1.2.840.10008.1.2.4.50"},
			dicomio.ErrTransferSyntax,
		},
		"no DICOM": {[]byte("text"), dicomio.Identity{}, dicomio.ErrNotDICOM},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, err := dicomio.Identify(tt.data, dicomio.DefaultLimits())
			if tt.err == nil {
				require.NoError(t, err)
			} else {
				require.ErrorIs(t, err, tt.err)
			}
			assert.Equal(t, tt.want, got)
		})
	}
}

func TestIdentifyFallsBackOnTheFileMeta(t *testing.T) {
	data := written(t, doseReport(1), dicomio.DeflatedExplicit)
	id, err := dicomio.Identify(cut(data, 20), dicomio.DefaultLimits()) // cannot be inflated
	require.ErrorIs(t, err, dicomio.ErrTruncated)
	assert.Equal(t, xRayDoseReport, id.SOPClassUID)
	assert.Equal(t, "2.25.1001", id.SOPInstanceUID)
}

// TestIdentifyAllocatesNextToNothing: what it costs doesn't grow with the file.
func TestIdentifyAllocatesNextToNothing(t *testing.T) {
	data := written(t, doseReport(200), dicomio.ExplicitLittleEndian)
	allocs := testing.AllocsPerRun(3, func() {
		_, err := dicomio.Identify(data, dicomio.DefaultLimits())
		require.NoError(t, err)
	})
	assert.Less(t, allocs, 100.0)
}
