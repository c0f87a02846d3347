package rdsr_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
)

func TestRefusals(t *testing.T) {
	class := func(uid string) func(*dicomio.DataSet) {
		return func(set *dicomio.DataSet) { put(set, text(0x00080016, "UI", uid)) }
	}
	reported := func(value, scheme string) func(*dicomio.DataSet) {
		return func(set *dicomio.DataSet) { coded(set, codeItem(value, scheme, "other"), "121058") }
	}
	run(t, map[string]quirk{
		"X-ray image":                     {change: class("1.2.840.10008.5.1.4.1.1.12.1"), err: rdsr.ErrOtherObject},
		"no SOP class":                    {change: class(""), err: rdsr.ErrOtherObject},
		"enhanced dose report":            {change: class("1.2.840.10008.5.1.4.1.1.88.76"), err: rdsr.ErrEnhanced},
		"radiopharmaceutical dose report": {change: class("1.2.840.10008.5.1.4.1.1.88.68"), err: rdsr.ErrRadiopharmaceutical},
		"patient dose report":             {change: class("1.2.840.10008.5.1.4.1.1.88.73"), err: rdsr.ErrPatientDose},
		"CT by procedure, SCT":            {change: reported("77477000", "SCT"), err: rdsr.ErrCT},
		"CT by procedure, SRT":            {change: reported("P5-08000", "SRT"), err: rdsr.ErrCT},
		"CT by template": {change: func(set *dicomio.DataSet) {
			put(&element(set, 0x0040A504).Items[0], text(0x0040DB00, "CS", "10011"))
		}, err: rdsr.ErrCT},
		"mammography, SCT": {change: reported("71651007", "SCT"), err: rdsr.ErrMammography},
		"mammography, SRT": {change: reported("P5-40010", "SRT"), err: rdsr.ErrMammography},
		"another document title": {change: func(set *dicomio.DataSet) {
			put(set, items(tagName, codeItem("126000", "DCM", "Imaging Measurement Report")))
		}, err: rdsr.ErrNoDoseTree},
		"no document title": {change: func(set *dicomio.DataSet) { drop(set, tagName) }, err: rdsr.ErrNoDoseTree},
		"title without anything in it": {change: func(set *dicomio.DataSet) {
			drop(set, tagContent)
		}, err: rdsr.ErrNoDoseTree},
		"title without dose": {change: func(set *dicomio.DataSet) {
			without(set, event)
			without(set, totals)
		}, err: rdsr.ErrNoDoseTree},
		"no study UID":          {change: func(set *dicomio.DataSet) { drop(set, 0x0020000D) }, err: rdsr.ErrNoStudy},
		"study UID that's none": {change: func(set *dicomio.DataSet) { put(set, text(0x0020000D, "UI", "a study")) }, err: rdsr.ErrNoStudy},
		"no instance UID":       {change: func(set *dicomio.DataSet) { drop(set, 0x00080018) }, err: rdsr.ErrNoInstance},
	})
}

func TestRefusalSaysWhatWasFoundAndExpected(t *testing.T) {
	set := rdsr.DataSet(singlePlane(), rdsr.WriteOptions{})
	put(&set, text(0x00080016, "UI", "1.2.840.10008.5.1.4.1.1.12.1"))
	_, err := rdsr.Read(encoded(t, set), rdsr.Options{})
	require.ErrorContains(t, err, "X-Ray Angiographic Image Storage")
	require.ErrorContains(t, err, "X-Ray Radiation Dose SR")
	_, err = rdsr.Read([]byte("no DICOM at all"), rdsr.Options{})
	require.ErrorIs(t, err, dicomio.ErrNotDICOM)
}

func TestPatients(t *testing.T) {
	patient := func(change func(*procedure.Patient)) func() *procedure.Report {
		return func() *procedure.Report {
			r := singlePlane()
			change(&r.Patient)
			return r
		}
	}
	size := func(height quantity.Millimetre, weight quantity.Kilogram) func() *procedure.Report {
		return patient(func(p *procedure.Patient) { p.Height, p.Weight = some(height), some(weight) })
	}
	neither := func(t *testing.T, r *procedure.Report) {
		t.Helper()
		assert.False(t, r.Patient.Height.Present())
		assert.False(t, r.Patient.Weight.Present())
	}
	both := func(t *testing.T, r *procedure.Report) {
		t.Helper()
		assert.True(t, r.Patient.Height.Present())
		assert.True(t, r.Patient.Weight.Present())
	}
	age := func(want, tolerance float64) func(*testing.T, *procedure.Report) {
		return func(t *testing.T, r *procedure.Report) {
			t.Helper()
			assert.InDelta(t, want, r.Patient.AgeYears.Or(-1), tolerance)
		}
	}
	run(t, map[string]quirk{
		"usual size": {report: size(1680, 81.5), check: both},
		"a newborn":  {report: size(500, 3.2), check: both},
		"height in centimetres": {report: size(168000, 81.5), findings: []string{"reduced patient-size"}, check: func(t *testing.T, r *procedure.Report) {
			assert.False(t, r.Patient.Height.Present())
			assert.True(t, r.Patient.Weight.Present())
		}},
		"weight in grams":               {report: size(1680, 81500), findings: []string{"reduced patient-size"}},
		"height and weight exchanged":   {report: size(810, 168), findings: []string{"reduced patient-size"}, check: neither},
		"height of 220 cm is possible":  {report: size(2200, 120), check: both},
		"height above 220 cm is not":    {report: size(2210, 120), findings: []string{"reduced patient-size"}},
		"mass index below 10":           {report: size(2000, 39), findings: []string{"reduced patient-size"}, check: neither},
		"age by birth date at the case": {check: age(73.68, 0.01)}, // 1951-06-30 to 2025-03-04
		"age as written": {
			report: patient(func(p *procedure.Patient) { p.BirthDate, p.AgeYears = "", some(0.75) }),
			check:  age(0.75, 1e-12),
		},
		"age as written against the birth date": {
			change:   func(set *dicomio.DataSet) { put(set, text(0x00101010, "AS", "031Y")) },
			findings: []string{"reduced patient-age"}, check: age(73.68, 0.01),
		},
		"born after the case": {
			report:   patient(func(p *procedure.Patient) { p.BirthDate = "2031-01-01" }),
			findings: []string{"reduced patient-age"},
			check:    func(t *testing.T, r *procedure.Report) { assert.False(t, r.Patient.AgeYears.Present()) },
		},
		"pregnancy status": {check: func(t *testing.T, r *procedure.Report) { assert.Equal(t, 4, r.Patient.Pregnancy) }},
		"pregnancy status of no meaning": {
			change:   func(set *dicomio.DataSet) { put(set, text(0x001021C0, "US", "9")) },
			findings: []string{"note pregnancy-status"}, check: func(t *testing.T, r *procedure.Report) { assert.Zero(t, r.Patient.Pregnancy) },
		},
		"quality control has no patient": {
			report: qualityControl, findings: []string{"note quality-control"},
			check: func(t *testing.T, r *procedure.Report) { assert.Equal(t, procedure.PurposeQualityControl, r.Purpose) },
		},
	})
}

func TestDevices(t *testing.T) {
	observer := func(concept string) func(*dicomio.DataSet) {
		return func(set *dicomio.DataSet) { without(set, concept) }
	}
	role := dicomio.DataSet{
		text(0x0040A010, "CS", "CONTAINS"), text(0x0040A040, "CS", "CODE"), items(tagName, codeItem("113876", "DCM", "Device Role in Procedure")),
		items(tagCode, codeItem("113859", "DCM", "Irradiating Device")),
		items(tagContent,
			dicomio.DataSet{text(0x0040A010, "CS", "HAS PROPERTIES"), text(0x0040A040, "CS", "TEXT"), items(tagName, codeItem("113880", "DCM", "Device Serial Number")), text(0x0040A160, "UT", "S-0002")},
			dicomio.DataSet{text(0x0040A010, "CS", "HAS PROPERTIES"), text(0x0040A040, "CS", "UIDREF"), items(tagName, codeItem("121012", "DCM", "Device Observer UID")), text(0x0040A124, "UI", "1.2.3.4")},
		),
	}
	run(t, map[string]quirk{
		"device observer": {check: func(t *testing.T, r *procedure.Report) {
			assert.Equal(t, singlePlane().Device, r.Device)
		}},
		"irradiating device that is not the recording one": {
			change: func(set *dicomio.DataSet) { add(set, role, totals) },
			check: func(t *testing.T, r *procedure.Report) {
				assert.Equal(t, "1.2.3.4", r.Device.UID)
				assert.Equal(t, "S-0002", r.Device.Serial)
			},
		},
		"equipment of the header alone": {
			change: func(set *dicomio.DataSet) {
				for _, concept := range []string{"121012", "121013", "121014", "121015", "121016", "121017"} {
					observer(concept)(set)
				}
			},
			check: func(t *testing.T, r *procedure.Report) {
				assert.Equal(t, "Saltmarsh Imaging Works|Synthetic Arc|S-0001", r.Device.Key())
			},
		},
		"several persons, one participant as the template wants": {
			report: func() *procedure.Report {
				r := singlePlane()
				authorizing := dcm("113850", "Irradiation Authorizing")
				r.Persons = []procedure.Person{
					{Name: "Operator^One", ID: "OP-1", Issuer: "staff list", RoleInProcedure: authorizing},
					{Name: "Operator^Two", ID: "OP-2", Issuer: "staff list", RoleInProcedure: authorizing},
				}
				return r
			},
			check: func(t *testing.T, r *procedure.Report) {
				require.Len(t, r.Persons, 2)
				assert.Equal(t, "OP-2", r.Persons[0].ID, "an observer, whose issuer has no row")
				assert.Empty(t, r.Persons[0].Issuer)
				assert.Equal(t, "OP-1", r.Persons[1].ID)
				assert.Equal(t, "staff list", r.Persons[1].Issuer)
			},
		},
		"persons": {check: func(t *testing.T, r *procedure.Report) { assert.Equal(t, singlePlane().Persons, r.Persons) }},
	})
}

func TestPersonsOfTheHeader(t *testing.T) {
	set := rdsr.DataSet(singlePlane(), rdsr.WriteOptions{})
	before, err := rdsr.Read(encoded(t, set), rdsr.Options{})
	require.NoError(t, err)
	operators := text(0x00081070, "PN", "Radiographer^A^Synthetic")
	operators.Values = append(operators.Values, "Radiographer^B^Synthetic")
	put(&set, text(0x00081050, "PN", "Operator^Z^Synthetic"))
	put(&set, operators)
	after, err := rdsr.Read(encoded(t, set), rdsr.Options{})
	require.NoError(t, err)
	require.Len(t, after.Persons, len(before.Persons)+3)
	var named []string
	for _, p := range after.Persons[len(before.Persons):] {
		named = append(named, p.Name+" "+p.RoleInProcedure.Meaning)
	}
	assert.Equal(t, []string{
		"Operator^Z^Synthetic Performing", "Radiographer^A^Synthetic Irradiation Administering", "Radiographer^B^Synthetic Irradiation Administering",
	}, named)
}
