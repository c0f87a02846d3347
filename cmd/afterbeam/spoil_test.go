package main

import (
	"bytes"
	"os"
	"slices"

	"github.com/rogpeppe/go-internal/testscript"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
)

// Attributes, NEMA DICOM PS3.6; concept 121058 is "Procedure reported", PS3.16 TID 10001 row 2.
const (
	tagSOPClass    dicomio.Tag = 0x00080016
	tagSOPInstance dicomio.Tag = 0x00080018
	tagModality    dicomio.Tag = 0x00080060
	tagValue       dicomio.Tag = 0x00080100
	tagScheme      dicomio.Tag = 0x00080102
	tagUnits       dicomio.Tag = 0x004008EA
	tagConcept     dicomio.Tag = 0x0040A043
	tagCode        dicomio.Tag = 0x0040A168
	tagStudy       dicomio.Tag = 0x0020000D

	procedureReported = "121058"
	angiographyImage  = "1.2.840.10008.5.1.4.1.1.12.1" // PS3.6 table A-1
)

// hostile tries to colour a terminal, to set its title, to begin lines and to turn the order of letters around.
const hostile = "\x1b[31mred\x1b]0;title\x07\r\nlevels BELOW\u009b2J\u202etxet\u2028"

// spoil writes a file of a kind that spoiled names.
func spoil(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 2)
	text, err := spoiled(args[0])
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), text, 0o600))
}

func spoiled(kind string) ([]byte, error) {
	r := caseOf("cath2-coronary-angiography.dcm")
	set := func() dicomio.DataSet { return rdsr.DataSet(&r, rdsr.WriteOptions{}) }
	switch kind {
	case "text":
		return []byte("Ka,r 1.2 Gy, measured by hand\n"), nil
	case "nothing":
		return nil, nil
	case "image":
		return encoded(dicomio.DataSet{
			{Tag: tagSOPClass, VR: "UI", Values: []string{angiographyImage}},
			{Tag: tagSOPInstance, VR: "UI", Values: []string{"2.25.77"}},
			{Tag: tagModality, VR: "CS", Values: []string{"XA"}},
			{Tag: tagStudy, VR: "UI", Values: []string{"2.25.78"}},
		})
	case "ct":
		return encoded(reporting(set(), "77477000"))
	case "mammography":
		return encoded(reporting(set(), "71651007"))
	case "truncated":
		whole, err := encoded(set())
		return whole[:len(whole)*2/3], err
	case "no-units":
		return encoded(without(set(), tagUnits))
	case "hostile":
		r.Study.Description, r.Device.Room = "coronary "+hostile, hostile
		for i := range r.Events {
			r.Events[i].Protocol = hostile
		}
	default:
		changed(kind, &r)
	}
	return encoded(set())
}

// changed spoils what a report says and not how it is written.
func changed(kind string, r *procedure.Report) {
	switch kind {
	case "no-dose":
		r.Events, r.Planes = nil, nil
	case "no-events":
		r.Events = nil
	case "absurd":
		for i := range r.Events {
			r.Events[i].RefKerma = quantity.Some(quantity.Gray(4e9))
		}
		r.Planes[0].RefKerma = quantity.Some(quantity.Gray(4e12))
	case "total-slip":
		r.Planes[0].KAP = quantity.Some(quantity.GraySquareMetre(1e-9))
	case "no-size":
		r.Patient.Height, r.Patient.Weight = quantity.None[quantity.Millimetre](), quantity.None[quantity.Kilogram]()
		r.Patient.AgeYears, r.Patient.Sex, r.Patient.BirthDate = quantity.None[float64](), "", ""
	case "no-number":
		r.Patient.ID = ""
	case "no-date":
		r.Content, r.Study.Date = procedure.Moment{}, procedure.Moment{}
		for i := range r.Events {
			r.Events[i].Start = procedure.Moment{}
		}
	case "other-issuer":
		r.Patient.Issuer = "Another centre (synthetic)"
		r.SOPInstanceUID, r.StudyUID, r.ScopeUID = "2.25.901", "2.25.902", "2.25.902"
		for i := range r.Events {
			r.Events[i].UID += "9"
		}
	default:
		panic("no such kind: " + kind)
	}
}

func encoded(set dicomio.DataSet) ([]byte, error) {
	var b bytes.Buffer
	err := dicomio.Write(&b, set, dicomio.ExplicitLittleEndian)
	return b.Bytes(), err
}

// reporting sets the procedure that a report says it is about, a code of SNOMED CT.
func reporting(set dicomio.DataSet, code string) dicomio.DataSet {
	for i, e := range set {
		for j, item := range e.Items {
			if name := item.Items(tagConcept); len(name) == 1 && name[0].Text(tagValue) == procedureReported {
				for k := range item {
					if item[k].Tag == tagCode {
						set[i].Items[j][k].Items[0] = dicomio.DataSet{{Tag: tagValue, VR: "SH", Values: []string{code}}, {Tag: tagScheme, VR: "SH", Values: []string{"SCT"}}}
					}
				}
			}
		}
	}
	return set
}

// without drops an attribute everywhere.
func without(set dicomio.DataSet, tag dicomio.Tag) dicomio.DataSet {
	kept := slices.DeleteFunc(slices.Clone(set), func(e dicomio.Element) bool { return e.Tag == tag })
	for i := range kept {
		for j := range kept[i].Items {
			kept[i].Items[j] = without(kept[i].Items[j], tag)
		}
	}
	return kept
}
