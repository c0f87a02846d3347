package fhir

import "afterbeam/internal/procedure"

// identifierType is a type of identifiers of HL7 version 2, table 0203.
func identifierType(code string) *Concept {
	return &Concept{Coding: []Coding{{System: systemIDType, Code: code}}}
}

// uid is a DICOM UID as an identifier; kind is its type in the guide's code system.
func uid(value, kind string) Identifier {
	i := Identifier{System: systemUID, Value: "urn:oid:" + value}
	if kind != "" {
		i.Type = &Concept{Coding: []Coding{{System: systemDICOMType, Code: kind}}}
	}
	return i
}

// assigned is a number that an issuer gave, nil for none.
func assigned(number, issuer string, kind *Concept) *Identifier {
	if number = clean(number); number == "" {
		return nil
	}
	i := &Identifier{Type: kind, Value: number}
	if issuer = clean(issuer); issuer != "" {
		i.Assigner = &Reference{Display: issuer}
	}
	return i
}

// subject points to the patient.
func (w writer) subject() *Reference {
	r := Reference{Type: "Patient", Identifier: assigned(w.Patient.Number, w.Patient.Issuer, identifierType("MR"))}
	if !w.sent && w.Patient.ID != "" {
		r.Reference = "Patient/" + w.Patient.ID
	}
	if r.Reference == "" && r.Identifier == nil {
		return nil
	}
	return &r
}

// study points to the study, which is no resource here; none without a UID.
func (w writer) study() []Reference {
	s := w.Assessment.Procedure.StudyUID
	if !isUID(s) {
		return nil
	}
	i := uid(s, "study-instance-uid")
	return []Reference{{Type: "ImagingStudy", Identifier: &i}}
}

// practitioner points to a person of the staff by the identifier in the report; without one there is the name.
func practitioner(p procedure.Person) Reference {
	r := Reference{Type: "Practitioner", Identifier: assigned(p.ID, p.Issuer, nil)}
	if n := nameOf(p.Name); n != nil {
		r.Display = n.Text
	}
	return r
}

// equipment points to the device, nil when nothing tells which it is.
func (w writer) equipment() *Reference {
	e := w.Device
	r := Reference{Type: "Device", Display: clean(e.Name)}
	switch {
	case w.sent && e.key() != nil:
		r.Reference = w.urn("device")
	case !w.sent && e.ID != "":
		r.Reference = "Device/" + e.ID
	case r.Display == "":
		return nil
	}
	return &r
}

// order points to the order by its accession number.
func (w writer) order() []Reference {
	i := assigned(w.Accession, "", identifierType("ACSN"))
	if i == nil {
		return nil
	}
	return []Reference{{Type: "ServiceRequest", Identifier: i}}
}
