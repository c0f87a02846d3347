package fhir

import "afterbeam/internal/procedure"

// The code systems. The first are those of the base standard and its terminology.
// Source: HL7 FHIR R4 4.0.1, terminology systems; from memory.
const (
	systemLOINC    = "http://loinc.org"
	systemUCUM     = "http://unitsofmeasure.org"
	systemDCM      = "http://dicom.nema.org/resources/ontology/DCM"
	systemAbsent   = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
	systemIDType   = "http://terminology.hl7.org/CodeSystem/v2-0203"
	systemEmpty    = "http://terminology.hl7.org/CodeSystem/list-empty-reason"
	systemActivity = "http://terminology.hl7.org/CodeSystem/v3-DataOperation"
	systemUID      = "urn:dicom:uid"

	// guide is the canonical base of the implementation guide.
	// Source: HL7 hl7.fhir.uv.radiation-dose-summary 1.0.0, profile Radiation Dose Summary; read. That its code system of
	// DICOM identifier types lies below the same base follows from how guides are built; not read.
	guide           = "http://hl7.org/fhir/uv/radiation-dose-summary/"
	systemDICOMType = guide + "CodeSystem/dicom-identifier-type"
	// ProfileSummary is the profile that Summary meets.
	ProfileSummary = guide + "StructureDefinition/radiation-dose-summary"

	// SystemEstimate holds the codes of our own, SystemResource the identifiers that this program gives its resources. Both are
	// OIDs made from random UUIDs (ITU-T X.667), which nobody has to register.
	SystemEstimate = "urn:oid:2.25.310093464764872892018397050665446687350"
	SystemResource = "urn:oid:2.25.187779593758850044497002682985866686246"
)

// codeSummary is the one code of a dose summary.
// Source: as above, element Observation.code; read.
const codeSummary = "73569-6"

func summaryCode() Concept {
	return Concept{
		Coding: []Coding{{System: systemLOINC, Code: codeSummary}},
		Text:   "Radiation dose summary",
	}
}

// dcm is a concept of DICOM.
func dcm(code, display string) Concept {
	return Concept{Coding: []Coding{{System: systemDCM, Code: code, Display: display}}}
}

// own is a concept that this program defines.
func own(code, text string) Concept {
	return Concept{Coding: []Coding{{System: SystemEstimate, Code: code, Display: text}}, Text: text}
}

// absent says in words why there is no value.
func absent(code, reason string) *Concept {
	return &Concept{Coding: []Coding{{System: systemAbsent, Code: code}}, Text: reason}
}

// The unit codes, UCUM.
const (
	unitMGy    = "mGy"
	unitMGyCm2 = "mGy.cm2"
	unitSecond = "s"
	unitMSv    = "mSv"
	unitPlain  = "1"
)

func quantityOf(value Decimal, code, unit string) *Quantity {
	return &Quantity{Value: value, Unit: unit, System: systemUCUM, Code: code}
}

// authorizing tells the person who authorized the irradiation (PS3.16 DCM 113850).
func authorizing(p procedure.Person) bool { return p.RoleInProcedure.Is("113850", "DCM") }
