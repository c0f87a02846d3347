package release_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/export/release"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
)

// Whatever is read can be released or is refused, and what was released has no private attribute, reads back, and stays as it is
// when it is released once more but for the pseudonyms and days.
func FuzzReport(f *testing.F) {
	// Small seeds: the items of the plants under a bare header.
	set := rdsr.DataSet(&procedure.Report{SOPInstanceUID: "1.2", StudyUID: "1.3", SeriesUID: "1.4", Device: procedure.Device{Manufacturer: "Works"}}, rdsr.WriteOptions{})
	for _, p := range plants() {
		one := with(set, p.top...)
		if p.item != nil {
			one = with(one, seq(0x0040A730, p.item))
		}
		f.Add(file(f, one))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		in, err := dicomio.Read(raw, dicomio.DefaultLimits())
		if err != nil {
			return
		}
		got, err := release.Report(in.Data, release.Subject{Patient: "1", Device: "2"}, pseudonyms(t, keyOfOne), most())
		if err != nil {
			return
		}
		back, err := dicomio.Read(got.Bytes, dicomio.DefaultLimits())
		require.NoError(t, err)
		assert.Empty(t, back.Repairs)
		walkElements(back.Data, func(e dicomio.Element) { assert.False(t, e.Tag.Private(), e.Tag.String()) })
		again, err := release.Report(back.Data, release.Subject{Patient: "1", Device: "2"}, pseudonyms(t, keyOfOne), most())
		require.NoError(t, err)
		assert.Zero(t, again.Left.Items, "what was let through once is let through again")
	})
}

func walkElements(set dicomio.DataSet, visit func(dicomio.Element)) {
	for _, e := range set {
		visit(e)
		for _, item := range e.Items {
			walkElements(item, visit)
		}
	}
}
