package dicomio_test

import (
	"cmp"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/report/dicomio"
)

func TestIdentify(t *testing.T) {
	report := doseReport(2)
	want := dicomio.Identity{
		SOPClassUID: xRayDoseReport, SOPInstanceUID: "2.25.1001", StudyUID: "2.25.1002",
		ProcedureReported: [2]string{"113704", "DCM"}, InDataSet: true,
	}
	with := func(syntax string) dicomio.Identity {
		id := want
		id.TransferSyntax = syntax
		return id
	}
	withMeta := func(syntax string) dicomio.Identity {
		id := with(syntax)
		id.MetaSOPClassUID, id.MetaSOPInstanceUID = xRayDoseReport, "2.25.1001"
		return id
	}
	tests := map[string]struct {
		data []byte
		want dicomio.Identity
		err  error
	}{
		"explicit":   {written(t, report, dicomio.ExplicitLittleEndian), withMeta(dicomio.ExplicitLittleEndian), nil},
		"implicit":   {written(t, report, dicomio.ImplicitLittleEndian), withMeta(dicomio.ImplicitLittleEndian), nil},
		"deflated":   {written(t, report, dicomio.DeflatedExplicit), withMeta(dicomio.DeflatedExplicit), nil},
		"big endian": {part10(explicitBigEndian, definedLengths(explicitBE, report)), with(explicitBigEndian), nil},
		"bare":       {definedLengths(implicitLE, report), with(dicomio.ImplicitLittleEndian), nil},
		"cut short, the rest is told": {
			cut(written(t, report, dicomio.ExplicitLittleEndian), 50), withMeta(dicomio.ExplicitLittleEndian), dicomio.ErrTruncated,
		},
		"no report": {
			part10(dicomio.ExplicitLittleEndian, identified()),
			dicomio.Identity{SOPClassUID: xRayDoseReport, SOPInstanceUID: "2.25.1001", TransferSyntax: dicomio.ExplicitLittleEndian, InDataSet: true},
			nil,
		},
		"compressed image": {
			part10("1.2.840.10008.1.2.4.50", identified(), explicitLE.head(0x7FE00010, "OB", undefined), explicitLE.close()),
			dicomio.Identity{SOPClassUID: xRayDoseReport, SOPInstanceUID: "2.25.1001", TransferSyntax: "1.2.840.10008.1.2.4.50", InDataSet: true},
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

func TestIdentifyTellsSeriesAndDate(t *testing.T) {
	set := slices.Clone(doseReport(1))
	for _, e := range []dicomio.Element{
		{Tag: 0x00080020, VR: "DA", Values: []string{"20260914"}}, {Tag: 0x0020000E, VR: "UI", Values: []string{"2.25.77"}},
	} {
		at, _ := slices.BinarySearchFunc(set, e.Tag, func(a dicomio.Element, t dicomio.Tag) int { return cmp.Compare(a.Tag, t) })
		if at < len(set) && set[at].Tag == e.Tag {
			set[at] = e
			continue
		}
		set = slices.Insert(set, at, e)
	}
	id, err := dicomio.Identify(written(t, set, dicomio.ExplicitLittleEndian), dicomio.DefaultLimits())
	require.NoError(t, err)
	assert.Equal(t, "2.25.77", id.SeriesUID)
	assert.Equal(t, "20260914", id.StudyDate)
}

// TestHeaderIsTheDataSetWithoutItsContent: for small reports and for those that are taken apart in portions, in each
// encoding.
func TestHeaderIsTheDataSetWithoutItsContent(t *testing.T) {
	for _, events := range []int{1, 300} {
		for _, syntax := range []string{dicomio.ExplicitLittleEndian, dicomio.ImplicitLittleEndian, dicomio.DeflatedExplicit} {
			data := written(t, doseReport(events), syntax)
			whole, err := dicomio.Read(data, dicomio.DefaultLimits())
			require.NoError(t, err)
			want := slices.DeleteFunc(slices.Clone(whole.Data), func(e dicomio.Element) bool { return e.Tag == 0x0040A730 })
			require.Less(t, len(want), len(whole.Data))
			got, err := dicomio.ReadHeader(data, dicomio.DefaultLimits())
			require.NoError(t, err)
			assert.Equal(t, want, got)
			_, err = dicomio.ReadHeader(cut(data, 20), dicomio.DefaultLimits())
			require.Error(t, err, "the guard walks the content as well")
		}
	}
}

func TestKeywords(t *testing.T) {
	tag, vr, ok := dicomio.Named("StudyInstanceUID")
	assert.True(t, ok)
	assert.Equal(t, dicomio.Tag(0x0020000D), tag)
	assert.Equal(t, "UI", vr)
	assert.Equal(t, "StudyInstanceUID", dicomio.Keyword(tag))
	for _, none := range []string{"", "studyinstanceuid", "NoSuchThing"} {
		_, _, ok := dicomio.Named(none)
		assert.False(t, ok, none)
	}
	assert.Empty(t, dicomio.Keyword(0x00091001))
	assert.Equal(t, "UN", dicomio.VROf(0x00091001))
}

func TestIdentifyFallsBackOnTheFileMeta(t *testing.T) {
	data := written(t, doseReport(1), dicomio.DeflatedExplicit)
	id, err := dicomio.Identify(cut(data, 20), dicomio.DefaultLimits()) // cannot be inflated
	require.ErrorIs(t, err, dicomio.ErrTruncated)
	assert.Equal(t, xRayDoseReport, id.SOPClassUID)
	assert.Equal(t, "2.25.1001", id.SOPInstanceUID)
	assert.False(t, id.InDataSet)
}

// TestFront puts a front of our own before a data set that came without one.
func TestFront(t *testing.T) {
	for syntax, set := range map[string][]byte{
		dicomio.ImplicitLittleEndian: definedLengths(implicitLE, doseReport(1)),
		explicitBigEndian:            definedLengths(explicitBE, doseReport(1)),
	} {
		front, err := dicomio.Front(xRayDoseReport, "2.25.1001", syntax)
		require.NoError(t, err)
		id, err := dicomio.Identify(append(front, set...), dicomio.DefaultLimits())
		require.NoError(t, err)
		assert.Equal(t, syntax, id.TransferSyntax)
		assert.Equal(t, "2.25.1001", id.SOPInstanceUID)
	}
	_, err := dicomio.Front(xRayDoseReport, "Smith^John", dicomio.ImplicitLittleEndian)
	require.ErrorIs(t, err, dicomio.ErrBroken)
	assert.NotContains(t, err.Error(), "Smith")
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
