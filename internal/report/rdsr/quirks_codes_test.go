package rdsr_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
)

func TestQuirksOfCodes(t *testing.T) {
	wantCopper := func(t *testing.T, r *procedure.Report) {
		t.Helper()
		assert.Equal(t, procedure.Copper, r.Events[0].Filters[0].Metal)
		assert.True(t, r.Events[0].Filters[0].Material.Is("66925006", "SCT"))
	}
	material := func(value, scheme, meaning string) func(*dicomio.DataSet) {
		return func(set *dicomio.DataSet) { coded(set, codeItem(value, scheme, meaning), event, "113771", "113757") }
	}
	fluoroType := func(value, scheme string) func(*dicomio.DataSet) {
		return func(set *dicomio.DataSet) {
			put(all(set, event, "113721")[0], items(tagCode, codeItem(value, scheme, "Fluoroscopy")))
		}
	}
	wantFluoroscopy := func(t *testing.T, r *procedure.Report) {
		t.Helper()
		assert.Equal(t, procedure.Fluoroscopy, r.Events[0].Type)
	}
	run(t, map[string]quirk{
		"SRT code":                          {change: fluoroType("P5-06000", "SRT"), check: wantFluoroscopy},
		"SRT code under the old name SNM3":  {change: fluoroType("P5-06000", "SNM3"), check: wantFluoroscopy},
		"SRT code under the old name 99SDM": {change: fluoroType("P5-06000", "99SDM"), check: wantFluoroscopy},
		"concept names of the SRT": {opt: rdsr.WriteOptions{CodeGeneration: rdsr.CodesSRT}, check: func(t *testing.T, r *procedure.Report) {
			assert.True(t, r.Intent.Is("262202000", "SCT"))
			assert.True(t, r.Events[0].Anatomy.Is("113345001", "SCT"))
			assert.Equal(t, procedure.Supine, r.Events[0].Posture)
			assert.Equal(t, procedure.HeadFirst, r.Events[0].Direction)
		}},
		"metal of the SRT generation":     {change: material("C-127F9", "SRT", "Copper or Copper compound"), check: wantCopper},
		"metal of the 2017 generation":    {change: material("105837005", "SCT", "Copper or Copper compound"), check: wantCopper},
		"metal of the current generation": {change: material("66925006", "SCT", "Copper"), check: wantCopper},
		"meaning in another language":     {change: material("66925006", "SCT", "Kupfer"), check: wantCopper},
		"a metal nobody listed": {
			change: material("7777777", "SCT", "Unobtainium"), findings: []string{"reduced code-unknown"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.Equal(t, procedure.MetalUnknown, r.Events[0].Filters[0].Metal)
				assert.True(t, r.Events[0].Filters[0].Material.Is("7777777", "SCT"))
			},
		},
		"region in the code of 2020": {
			change: func(set *dicomio.DataSet) { coded(set, codeItem("818981001", "SCT", "Abdomen"), event, "123014") },
			check: func(t *testing.T, r *procedure.Report) {
				assert.True(t, r.Events[0].Target.Is("113345001", "SCT"))
			},
		},
		"retired Exposure Time": {
			change: func(set *dicomio.DataSet) {
				for _, it := range all(set, event, "113824") {
					put(it, items(tagName, codeItem("113735", "DCM", "Exposure Time")))
				}
			},
			findings: []string{"repaired retired-exposure-time"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.InDelta(t, 1.2, float64(r.Events[0].Technique.ExposureTime.Or(0)), 1e-12)
			},
		},
		"private rows with standard concepts inside": {
			change: func(set *dicomio.DataSet) {
				nest := dicomio.DataSet{
					text(0x0040A010, "CS", "CONTAINS"), text(0x0040A040, "CS", "CONTAINER"), text(0x0040A050, "CS", "SEPARATE"),
					items(tagName, codeItem("X-1", "99EXAMPLE", "Private group")),
					items(tagContent, numItem(kerma, "77", "Gy"), numItem("113733", "33", "kV")),
				}
				add(set, nest, event)
				add(set, nest)
			},
			findings: []string{"note private-content"},
			check: func(t *testing.T, r *procedure.Report) {
				wantKerma(t, r)
				assert.Equal(t, []quantity.Kilovolt{78.4}, r.Events[0].Technique.Voltages)
			},
		},
		"Long Code Value": {
			change: func(set *dicomio.DataSet) {
				for _, it := range all(set, event, kerma) {
					put(it, items(tagName, dicomio.DataSet{text(tagScheme, "SH", "DCM"), text(tagMeaning, "LO", "Dose (RP)"), text(0x00080119, "UC", kerma)}))
				}
			},
			check: wantKerma,
		},
		"URN Code Value": {
			change: func(set *dicomio.DataSet) {
				for _, it := range all(set, event, kerma) {
					put(it, items(tagName, dicomio.DataSet{text(tagMeaning, "LO", "Dose (RP)"), text(0x00080120, "UR", "http://dicom.nema.org/resources/ontology/DCM#113738")}))
				}
			},
			check: wantKerma,
		},
	})
}

func TestQuirksOfMissingRows(t *testing.T) {
	lacking := func(item string) func(*testing.T, *procedure.Report) {
		return func(t *testing.T, r *procedure.Report) {
			t.Helper()
			for _, f := range r.Findings {
				if f.Rule == "missing" && f.Severity == procedure.Reduced && strings.HasSuffix(f.Place, item) {
					return
				}
			}
			assert.Fail(t, "no Finding", "of the missing %s in %v", item, r.Findings)
		}
	}
	removing := func(container string, concepts ...string) func(*dicomio.DataSet) {
		return func(set *dicomio.DataSet) {
			for _, concept := range concepts {
				without(set, container, concept)
			}
		}
	}
	run(t, map[string]quirk{
		"interventional C-arm, full report": {check: func(t *testing.T, r *procedure.Report) { assert.Empty(t, r.Findings) }},
		"mobile C-arm without table rows and isocentre": {
			change: removing(event, "113751", "113752", "113753", "113748"),
			check: func(t *testing.T, r *procedure.Report) {
				lacking("Table Position")(t, r)
				lacking("Distance Source to Isocenter")(t, r)
				assert.Zero(t, r.Events[0].Suspicion)
			},
		},
		"R/F table, tube under or over": {report: underAndOverTable, check: func(t *testing.T, r *procedure.Report) {
			assert.Equal(t, "113862", r.Events[0].RefPoint.Code.Value)
			assert.Equal(t, "113863", r.Events[1].RefPoint.Code.Value)
			assert.True(t, r.Events[0].Mechanics.Column.Present())
			assert.Zero(t, r.Events[0].Suspicion|r.Events[1].Suspicion)
		}},
		"old report made from MPPS": {
			report: func() *procedure.Report {
				r := singlePlane()
				r.Events, r.Sources = nil, []procedure.Code{dcm("113858", "MPPS Content")}
				t := procedure.PlaneTotal{Plane: procedure.PlaneSingle, KAP: some(quantity.GraySquareMetre(0.012)), FluoroTime: some(quantity.Second(900))}
				r.Planes = []procedure.PlaneTotal{t}
				return r
			},
			findings: []string{"note source-step"},
			check: func(t *testing.T, r *procedure.Report) {
				lacking("Irradiation Event X-Ray Data")(t, r)
				lacking("Dose (RP) Total")(t, r)
				assert.InDelta(t, 0.012, float64(r.Planes[0].KAP.Or(0)), 0)
			},
		},
		"screen captures": {
			change: func(set *dicomio.DataSet) {
				coded(set, codeItem("113868", "DCM", "Derived From Human-Readable Reports"), "113854")
			},
			check: func(t *testing.T, r *procedure.Report) { assert.Equal(t, "113868", r.Sources[0].Value) },
		},
		"biplane": {report: biplane, check: func(t *testing.T, r *procedure.Report) {
			assert.Len(t, r.Planes, 2)
			assert.Equal(t, procedure.PlaneB, r.Events[1].Plane)
			assert.Empty(t, r.Findings)
		}},
		"no mechanical data": {report: noMechanics, check: func(t *testing.T, r *procedure.Report) {
			lacking("X-Ray Mechanical Data")(t, r)
			assert.True(t, r.Events[0].Mechanics.MechanicalDataSaidAbsent)
		}},
		"no table": {change: removing(event, "113751", "113752", "113753"), check: lacking("Table Position")},
		"no field area, height and width instead": {change: removing(event, "113790"), check: func(t *testing.T, r *procedure.Report) {
			assert.False(t, r.Events[0].Field.Area.Present())
			assert.True(t, r.Events[0].Field.Height.Present())
			assert.Empty(t, r.Findings)
		}},
		"no field size": {change: removing(event, "113790", "113788", "113789"), check: lacking("Collimated Field Area")},
		"no filters":    {change: removing(event, "113771"), check: lacking("X-Ray Filters")},
		"filter said to be none": {report: qualityControl, check: func(t *testing.T, r *procedure.Report) {
			assert.Equal(t, procedure.FilterNone, r.Events[0].Filters[0].Type)
			assert.NotContains(t, rulesOf(r), "reduced missing")
		}},
		"no Dose (RP)":           {change: removing(event, kerma), check: lacking("Dose (RP)")},
		"no KAP of the events":   {change: removing(event, area), check: lacking("Dose Area Product")},
		"no events":              {change: func(set *dicomio.DataSet) { without(set, event) }, check: lacking("Irradiation Event X-Ray Data")},
		"no acquisition totals":  {change: removing(totals, "113727", "113729", "113855"), check: lacking("Acquisition Dose (RP) Total")},
		"no patient orientation": {change: removing(event, "113743", "113745"), check: lacking("Patient Orientation")},
		"no device type":         {change: func(set *dicomio.DataSet) { without(set, "122142") }, check: lacking("Acquisition Device Type")},
		"no totals":              {change: func(set *dicomio.DataSet) { without(set, totals) }, check: lacking("Accumulated X-Ray Dose Data")},
		"no event UID":           {change: removing(event, "113769"), findings: []string{"reduced event-uid"}},
		"no start": {
			change: removing(event, "111526"), findings: []string{"reduced event-start"},
			check: func(t *testing.T, r *procedure.Report) { assert.True(t, r.Events[0].Start.IsZero()) },
		},
		"no plane": {
			change: removing(event, "113764"), findings: []string{"reduced event-plane"},
			check: func(t *testing.T, r *procedure.Report) { assert.Equal(t, procedure.PlaneUnknown, r.Events[0].Plane) },
		},
	})
}
