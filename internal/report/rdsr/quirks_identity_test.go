package rdsr_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
)

func TestQuirksOfTotals(t *testing.T) {
	wantNone := func(rules ...string) func(*testing.T, *procedure.Report) {
		return func(t *testing.T, r *procedure.Report) {
			t.Helper()
			for _, rule := range rules {
				assert.NotContains(t, rulesOf(r), rule)
			}
			assert.Zero(t, r.Planes[0].Suspicion)
		}
	}
	// The events of singlePlane add up to 0.1446 Gy.
	run(t, map[string]quirk{
		"totals rounded": {
			change: func(set *dicomio.DataSet) { number(set, "0.145", "", totals, "113725") },
			check:  wantNone("reduced total-sum", "reduced total-parts", "suspect total-sum"),
		},
		"totals above the sum of the events": {
			change:   func(set *dicomio.DataSet) { number(set, "0.16", "", totals, "113725") },
			findings: []string{"reduced total-sum", "reduced total-parts"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.InDelta(t, 0.16, float64(r.Planes[0].RefKerma.Or(0)), 0)
				assert.Zero(t, r.Planes[0].Suspicion)
			},
		},
		"sum of the events above the totals": {
			change:   func(set *dicomio.DataSet) { number(set, "0.12", "", totals, "113725") },
			findings: []string{"reduced total-sum"},
		},
		"total in another unit than its code": {
			change: func(set *dicomio.DataSet) {
				number(set, "144.6", "", totals, "113725")
			},
			findings: []string{"suspect total-sum", "suspect dose-absurd"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.True(t, r.Planes[0].Suspicion.Has(procedure.SuspectKerma))
				assert.InDelta(t, 144.6, float64(r.Planes[0].RefKerma.Or(0)), 0, "a flag can still come of it")
			},
		},
		"fluoroscopy time far from its events": {
			change:   func(set *dicomio.DataSet) { number(set, "900", "", totals, "113730") },
			findings: []string{"reduced total-sum"},
		},
		"calibration factor other than 1": {
			change:   func(set *dicomio.DataSet) { number(set, "0.87", "", totals, "122505", "122322") },
			findings: []string{"note calibration-factor"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.Equal(t, some(0.87), r.Planes[0].Calibrations[0].Factor)
				assert.InEpsilon(t, 0.1446, float64(r.Planes[0].RefKerma.Or(0)), tolerance, "shown, never applied")
			},
		},
		"interim report": {report: interim, findings: []string{"note scope"}, check: func(t *testing.T, r *procedure.Report) {
			assert.Equal(t, procedure.ScopeToThisPoint, r.Scope)
			assert.False(t, r.Complete)
		}},
		"two totals of one plane": {
			change:   func(set *dicomio.DataSet) { add(set, *first(set, totals)) },
			findings: []string{"reduced total-repeated"},
			check:    func(t *testing.T, r *procedure.Report) { assert.Len(t, r.Planes, 2) },
		},
	})
}

func TestQuirksOfIdentity(t *testing.T) {
	uid := func(set *dicomio.DataSet, n int, value string) {
		put(first(all(set, event)[n], "113769"), text(0x0040A124, "UI", value))
	}
	run(t, map[string]quirk{
		"one event UID for both planes": {
			report: biplane,
			change: func(set *dicomio.DataSet) {
				uid(set, 0, "1.2.3")
				uid(set, 1, "1.2.3")
			},
			findings: []string{"note event-uid-planes"},
			check:    func(t *testing.T, r *procedure.Report) { assert.Len(t, r.Events, 6) },
		},
		"one event twice in a report": {
			change:   func(set *dicomio.DataSet) { add(set, *all(set, event)[0]) },
			findings: []string{"reduced event-uid-repeated"},
			check:    func(t *testing.T, r *procedure.Report) { assert.Len(t, r.Events, 4) },
		},
		"an event UID that is none": {change: func(set *dicomio.DataSet) { uid(set, 0, "run 7") }, findings: []string{"reduced event-uid"}},
		"plane B coded as Single Plane": {
			report: biplane,
			change: func(set *dicomio.DataSet) {
				for _, path := range []string{totals, event} {
					for _, it := range all(set, path, "113764") {
						if it.Items(tagCode)[0].Text(tagValue) == "113621" {
							put(it, items(tagCode, codeItem("113622", "DCM", "Single Plane")))
						}
					}
				}
			},
			findings: []string{"repaired single-plane-beside-a"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.Equal(t, procedure.PlaneB, r.Events[1].Plane)
				assert.Equal(t, procedure.PlaneB, r.Planes[1].Plane)
			},
		},
		"events out of order": {
			change: func(set *dicomio.DataSet) {
				e := element(set, tagContent)
				last := len(e.Items) - 1
				for i := range e.Items {
					if nameOf(e.Items[i]) == event {
						e.Items[i], e.Items[i+2] = e.Items[i+2], e.Items[i]
						break
					}
				}
				require.Greater(t, last, 3)
			},
			findings: []string{"note event-order"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.Equal(t, procedure.Rotational, r.Events[0].Type, "the order of the report stays")
			},
		},
		"same concept twice with different values": {
			change:   func(set *dicomio.DataSet) { add(set, numItem(kerma, "0.5", "Gy"), event) },
			findings: []string{"suspect repeated-concept"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.InDelta(t, 0.5, float64(r.Events[0].RefKerma.Or(0)), 0)
				assert.True(t, r.Events[0].Suspicion.Has(procedure.SuspectKerma))
			},
		},
		"same concept twice with the same value": {
			change:   func(set *dicomio.DataSet) { add(set, *first(set, event, kerma), event) },
			findings: []string{"note repeated-concept"},
			check:    wantKerma,
		},
		"same distance twice with different values": {
			change:   func(set *dicomio.DataSet) { add(set, numItem("113750", "1200", "mm"), event) },
			findings: []string{"suspect repeated-concept"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.True(t, r.Events[0].Suspicion.Has(procedure.SuspectDistance))
			},
		},
		"negative dose": {
			change:   kermaAs("-0.0123"),
			findings: []string{"suspect negative-value"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.False(t, r.Events[0].RefKerma.Present())
				assert.True(t, r.Events[0].Suspicion.Has(procedure.SuspectKerma))
			},
		},
		"absurd dose": {
			change:   kermaAs("4711"),
			findings: []string{"suspect dose-absurd"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.True(t, r.Events[0].Suspicion.Has(procedure.SuspectKerma))
				assert.InDelta(t, 4711, float64(r.Events[0].RefKerma.Or(0)), 0)
			},
		},
		"report in the Enhanced SR class": {
			change:   func(set *dicomio.DataSet) { put(set, text(0x00080016, "UI", "1.2.840.10008.5.1.4.1.1.88.22")) },
			findings: []string{"note sop-class"},
			check:    wantKerma,
		},
		"report in the Comprehensive SR class": {
			change:   func(set *dicomio.DataSet) { put(set, text(0x00080016, "UI", "1.2.840.10008.5.1.4.1.1.88.33")) },
			findings: []string{"note sop-class"},
			check:    wantKerma,
		},
		"no template id": {
			change:   func(set *dicomio.DataSet) { drop(set, 0x0040A504) },
			findings: []string{"note template"},
			check:    wantKerma,
		},
		"HAS PROPERTIES where CONTAINS is due": {
			change: func(set *dicomio.DataSet) {
				for _, it := range all(set, event, kerma) {
					put(it, text(0x0040A010, "CS", "HAS PROPERTIES"))
				}
			},
			findings: []string{"repaired relationship"},
			check:    wantKerma,
		},
	})
}

// The same object again has the same digests; the same content under a new header differs in the data set only.
func TestSameContentIsRecognised(t *testing.T) {
	read := func(r *procedure.Report) *procedure.Report {
		got, err := rdsr.Read(written(t, r, rdsr.WriteOptions{}), rdsr.Options{})
		require.NoError(t, err)
		return got
	}
	first, again := read(singlePlane()), read(singlePlane())
	assert.Equal(t, first.BytesDigest, again.BytesDigest)
	assert.Equal(t, first.DataSetDigest, again.DataSetDigest)
	assert.Len(t, first.ContentDigest, 64)

	moved := singlePlane()
	moved.SOPInstanceUID += ".7"
	moved.Patient.ID = "SYN-0008"
	other := read(moved)
	assert.NotEqual(t, first.DataSetDigest, other.DataSetDigest)
	assert.Equal(t, first.ContentDigest, other.ContentDigest)

	changed := singlePlane()
	changed.Events[0].RefKerma = some(quantity.Gray(0.0124))
	assert.NotEqual(t, first.ContentDigest, read(changed).ContentDigest)
}

func TestReportsOfTwoRoomsInOneStudy(t *testing.T) {
	one, two := singlePlane(), singlePlane()
	two.Device.UID, two.Device.Room = uidRoot+"10", "Cath 2"
	a, err := rdsr.Read(written(t, one, rdsr.WriteOptions{}), rdsr.Options{})
	require.NoError(t, err)
	b, err := rdsr.Read(written(t, two, rdsr.WriteOptions{}), rdsr.Options{})
	require.NoError(t, err)
	assert.Equal(t, a.StudyUID, b.StudyUID)
	assert.NotEqual(t, a.Device.Key(), b.Device.Key())
}

func TestMoments(t *testing.T) {
	site := time.FixedZone("site", -5*3600)
	london, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	device := func(procedure.Device) *time.Location { return time.FixedZone("device", 2*3600) }
	started := func(value string) func(*dicomio.DataSet) {
		return func(set *dicomio.DataSet) { put(first(set, event, "111526"), text(0x0040A120, "DT", value)) }
	}
	noZone := func(value string) func(*dicomio.DataSet) {
		return func(set *dicomio.DataSet) {
			drop(set, 0x00080201)
			started(value)(set)
		}
	}
	wants := func(moment string, source procedure.OffsetSource) func(*testing.T, *procedure.Report) {
		return func(t *testing.T, r *procedure.Report) {
			t.Helper()
			assert.Equal(t, moment, r.Events[0].Start.Time.Format(time.RFC3339Nano))
			assert.Equal(t, source, r.Events[0].Start.Offset)
		}
	}
	run(t, map[string]quirk{
		"offset in the value": {
			change: started("20250304101500-0330"), read: rdsr.Options{Site: site, DeviceZone: device},
			check: wants("2025-03-04T10:15:00-03:30", procedure.OffsetInValue),
		},
		"offset of the data set": {
			change: started("20250304101500"), read: rdsr.Options{Site: site, DeviceZone: device},
			check: wants("2025-03-04T10:15:00+01:00", procedure.OffsetOfDataSet),
		},
		"zone of the device": {
			change: noZone("20250304101500"), read: rdsr.Options{Site: site, DeviceZone: device},
			check: wants("2025-03-04T10:15:00+02:00", procedure.OffsetOfDevice),
		},
		"zone of the site": {
			change: noZone("20250304101500"), read: rdsr.Options{Site: site},
			check: wants("2025-03-04T10:15:00-05:00", procedure.OffsetOfSite),
		},
		"no zone at all": {
			change: noZone("20250304101500"),
			check:  wants("2025-03-04T10:15:00Z", procedure.OffsetUnknown),
		},
		"skipped by the clocks": {
			change: noZone("20250330013000"), read: rdsr.Options{Site: london}, findings: []string{"repaired clock-change"},
			check: wants("2025-03-30T02:30:00+01:00", procedure.OffsetOfSite),
		},
		"shown twice by the clocks": {
			change: noZone("20251026013000"), read: rdsr.Options{Site: london}, findings: []string{"repaired clock-change"},
			check: wants("2025-10-26T01:30:00Z", procedure.OffsetOfSite),
		},
		"an hour later": {
			change: noZone("20251026023000"), read: rdsr.Options{Site: london},
			check: wants("2025-10-26T02:30:00Z", procedure.OffsetOfSite),
		},
		"fraction":         {change: started("20250304101500.25"), check: wants("2025-03-04T10:15:00.25+01:00", procedure.OffsetOfDataSet)},
		"hour and minute":  {change: started("202503041015"), check: wants("2025-03-04T10:15:00+01:00", procedure.OffsetOfDataSet)},
		"leap second":      {change: started("20161231235960+0000"), check: wants("2017-01-01T00:00:00Z", procedure.OffsetInValue)},
		"date only":        {change: started("20250304"), findings: []string{"reduced date-only"}, check: wants("2025-03-04T00:00:00+01:00", procedure.OffsetOfDataSet)},
		"year only":        {change: started("2025"), findings: []string{"reduced moment-malformed", "reduced event-start"}},
		"no date":          {change: started("yesterday"), findings: []string{"reduced moment-malformed", "reduced event-start"}},
		"impossible day":   {change: started("20250231101500"), findings: []string{"reduced moment-malformed"}},
		"impossible zone":  {change: started("20250304101500+2500"), findings: []string{"reduced moment-malformed"}},
		"fraction in vain": {change: started("20250304101500."), findings: []string{"reduced moment-malformed"}},
	})
}
