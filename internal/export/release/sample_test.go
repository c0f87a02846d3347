package release_test

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/export/release"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
)

// Keys of two recipients that exist in tests alone.
const (
	keyOfOne   = "000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f"
	keyOfOther = "f0f1f2f3f4f5f6f7f8f9fafbfcfdfeffe0e1e2e3e4e5e6e7e8e9eaebecedeeef"
)

func pseudonyms(t testing.TB, key string) release.Pseudonyms {
	t.Helper()
	p, err := release.PseudonymsOf(key)
	require.NoError(t, err)
	return p
}

// most are the options that keep most.
func most() release.Options {
	return release.Options{Device: release.DeviceIdentity, Persons: release.PersonsPseudonym, Characteristics: true}
}

// scenario gives the synthetic reports by file name, each with its first events alone: all that is in a report is in these.
func scenario() map[string]procedure.Report {
	const enough = 12
	reports := map[string]procedure.Report{}
	for _, c := range demo.Cases() {
		r := c.Report
		r.Events = r.Events[:min(len(r.Events), enough)]
		reports[c.File] = r
	}
	return reports
}

func staged() *procedure.Report {
	r := scenario()[demo.StagedFirst]
	return &r
}

func subject(r *procedure.Report) release.Subject {
	return release.Subject{Patient: r.Patient.Issuer + " " + r.Patient.ID, Device: r.Device.Serial}
}

// file writes a data set as a Part 10 file.
func file(t testing.TB, set dicomio.DataSet) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, dicomio.Write(&b, set, dicomio.ExplicitLittleEndian))
	return b.Bytes()
}

func dataSet(t testing.TB, raw []byte) dicomio.DataSet {
	t.Helper()
	f, err := dicomio.Read(raw, dicomio.DefaultLimits())
	require.NoError(t, err)
	return f.Data
}

func released(t testing.TB, r *procedure.Report, key string, o release.Options) release.Released {
	t.Helper()
	set := dataSet(t, file(t, rdsr.DataSet(r, rdsr.WriteOptions{})))
	got, err := release.Report(set, subject(r), pseudonyms(t, key), o)
	require.NoError(t, err)
	return got
}

func text(tag dicomio.Tag, vr string, values ...string) dicomio.Element {
	return dicomio.Element{Tag: tag, VR: vr, Values: values}
}

func seq(tag dicomio.Tag, items ...dicomio.DataSet) dicomio.Element {
	return dicomio.Element{Tag: tag, VR: "SQ", Items: items}
}

func coded(value, scheme, meaning string) dicomio.DataSet {
	return dicomio.DataSet{text(0x00080100, "SH", value), text(0x00080102, "SH", scheme), text(0x00080104, "LO", meaning)}
}

// content makes a content item.
func content(kind string, name dicomio.DataSet, value dicomio.Element, below ...dicomio.DataSet) dicomio.DataSet {
	set := dicomio.DataSet{text(0x0040A010, "CS", "CONTAINS"), text(0x0040A040, "CS", kind), seq(0x0040A043, name), value}
	if len(below) > 0 {
		set = append(set, seq(0x0040A730, below...))
	}
	return ordered(set)
}

func ordered(set dicomio.DataSet) dicomio.DataSet {
	slices.SortStableFunc(set, func(a, b dicomio.Element) int { return cmp.Compare(a.Tag, b.Tag) })
	return set
}

// with puts elements into a data set, in the place of those that are there.
func with(set dicomio.DataSet, elements ...dicomio.Element) dicomio.DataSet {
	out := slices.Clone(set)
	for _, e := range elements {
		out = slices.DeleteFunc(out, func(o dicomio.Element) bool { return o.Tag == e.Tag })
		out = append(out, e)
	}
	return ordered(out)
}

// walk visits every content item with the path of concept codes that leads to it.
func walk(set dicomio.DataSet, path string, visit func(path, kind string, item dicomio.DataSet)) {
	for i, item := range set.Items(0x0040A730) {
		name := "?"
		if items := item.Items(0x0040A043); len(items) > 0 {
			name = items[0].Text(0x00080100)
		}
		here := fmt.Sprintf("%s/%d:%s", path, i, name)
		visit(here, item.Text(0x0040A040), item)
		walk(item, here, visit)
	}
}
