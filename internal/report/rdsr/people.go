package rdsr

import "afterbeam/internal/procedure"

// Concepts of observers (TID 1002 to 1004) and participants (TID 1020, 1021).
func conceptObserverType() procedure.Code { return dcm("121005", "Observer Type") }
func conceptObserverName() procedure.Code { return dcm("121008", "Person Observer Name") }
func conceptRoleHere() procedure.Code {
	return dcm("121011", "Person Observer's Role in this Procedure")
}

func conceptRoleID() procedure.Code     { return dcm("128775", "Identifier within Person Observer's Role") }
func conceptPersonName() procedure.Code { return dcm("113870", "Person Name") }
func conceptDeviceUID() procedure.Code  { return dcm("121012", "Device Observer UID") }
func conceptDeviceRole() procedure.Code { return dcm("113876", "Device Role in Procedure") }
func irradiatingDevice() procedure.Code { return dcm("113859", "Irradiating Device") }
func observerPerson() procedure.Code    { return dcm("121006", "Person") }
func observerDevice() procedure.Code    { return dcm("121007", "Device") }

// observerTexts are the texts of a person observer (TID 1003).
func observerTexts() []textRow[procedure.Person] {
	type p = procedure.Person
	return []textRow[p]{
		{conceptObserverName(), "PNAME", func(o *p) *string { return &o.Name }},
		{dcm("128774", "Person Observer's Login Name"), "TEXT", func(o *p) *string { return &o.Login }},
		{dcm("121009", "Person Observer's Organization Name"), "TEXT", func(o *p) *string { return &o.Organization }},
	}
}

func observerCodes() []codedRow[procedure.Person] {
	type p = procedure.Person
	return []codedRow[p]{
		coded(dcm("121010", "Person Observer's Role in the Organization"), func(o *p) *procedure.Code { return &o.RoleInOrganization }),
		coded(conceptRoleHere(), func(o *p) *procedure.Code { return &o.RoleInProcedure }),
	}
}

// deviceTexts are the texts of a device observer (TID 1004).
func deviceTexts() []textRow[procedure.Device] {
	type d = procedure.Device
	return []textRow[d]{
		{conceptDeviceUID(), "UIDREF", func(o *d) *string { return &o.UID }},
		{dcm("121013", "Device Observer Name"), "TEXT", func(o *d) *string { return &o.Name }},
		{dcm("121014", "Device Observer Manufacturer"), "TEXT", func(o *d) *string { return &o.Manufacturer }},
		{dcm("121015", "Device Observer Model Name"), "TEXT", func(o *d) *string { return &o.Model }},
		{dcm("121016", "Device Observer Serial Number"), "TEXT", func(o *d) *string { return &o.Serial }},
		{dcm("121017", "Device Observer Physical Location During Observation"), "TEXT", func(o *d) *string { return &o.Room }},
	}
}

// participantTexts are the properties of a person participant (TID 1020).
func participantTexts() []textRow[procedure.Person] {
	type p = procedure.Person
	return []textRow[p]{
		{dcm("113871", "Person ID"), "TEXT", func(o *p) *string { return &o.ID }},
		{dcm("113872", "Person ID Issuer"), "TEXT", func(o *p) *string { return &o.Issuer }},
		{dcm("113873", "Organization Name"), "TEXT", func(o *p) *string { return &o.Organization }},
	}
}

func participantCodes() []codedRow[procedure.Person] {
	type p = procedure.Person
	return []codedRow[p]{
		coded(dcm("113875", "Person Role in Procedure"), func(o *p) *procedure.Code { return &o.RoleInProcedure }),
		coded(dcm("113874", "Person Role in Organization"), func(o *p) *procedure.Code { return &o.RoleInOrganization }),
	}
}

// deviceParticipantTexts are the properties of a device participant (TID 1021).
func deviceParticipantTexts() []textRow[procedure.Device] {
	type d = procedure.Device
	return []textRow[d]{
		{dcm("113877", "Device Name"), "TEXT", func(o *d) *string { return &o.Name }},
		{dcm("113878", "Device Manufacturer"), "TEXT", func(o *d) *string { return &o.Manufacturer }},
		{dcm("113879", "Device Model Name"), "TEXT", func(o *d) *string { return &o.Model }},
		{dcm("113880", "Device Serial Number"), "TEXT", func(o *d) *string { return &o.Serial }},
		{conceptDeviceUID(), "UIDREF", func(o *d) *string { return &o.UID }},
	}
}

// observers reads the observers among the root's children. They are no containers: each begins with its Observer Type
// or, failing that, its name or UID, so here the order does count.
func (r *reader) observers() {
	var persons []procedure.Person
	var devices []procedure.Device
	irradiating := -1
	for _, it := range r.tree.items {
		switch {
		case it.name.Is("121008", "DCM"):
			persons = append(persons, procedure.Person{})
		case it.name.Is("121012", "DCM"):
			devices = append(devices, procedure.Device{})
		}
		if len(persons) > 0 {
			observerItem(it, &persons[len(persons)-1])
		}
		if len(devices) > 0 {
			deviceItem(it, &devices[len(devices)-1])
		}
		if identity(it.name) == identity(conceptDeviceRole()) && len(devices) > 0 && identity(it.code()) == identity(irradiatingDevice()) {
			irradiating = len(devices) - 1
		}
	}
	r.report.Persons = persons
	switch device, ok := r.participatingDevice(); {
	case ok:
		r.report.Device = device
		r.room(devices, device.UID)
	case irradiating >= 0:
		r.report.Device = devices[irradiating]
	case len(devices) > 0:
		r.report.Device = devices[0]
	}
}

func observerItem(it item, p *procedure.Person) {
	for _, row := range observerTexts() {
		if identity(row.concept) == identity(it.name) {
			*row.at(p) = it.text()
		}
	}
	for _, row := range observerCodes() {
		if identity(row.concept) == identity(it.name) {
			row.set(p, it.code())
		}
	}
	if identity(it.name) == identity(conceptRoleHere()) {
		if id, ok := it.first(conceptRoleID()); ok {
			p.ID = id.text()
		}
	}
}

func deviceItem(it item, d *procedure.Device) {
	for _, row := range deviceTexts() {
		if identity(row.concept) == identity(it.name) {
			*row.at(d) = it.text()
		}
	}
}

// participatingDevice finds the irradiating device where it is not the recording one (TID 10002 with TID 1021).
func (r *reader) participatingDevice() (procedure.Device, bool) {
	for _, total := range r.tree.items {
		if identity(total.name) != identity(conceptTotals()) {
			continue
		}
		for _, it := range total.items {
			if identity(it.name) != identity(conceptDeviceRole()) || identity(it.code()) != identity(irradiatingDevice()) {
				continue
			}
			var d procedure.Device
			for _, row := range deviceParticipantTexts() {
				if sub, ok := it.first(row.concept); ok {
					*row.at(&d) = sub.text()
				}
			}
			return d, d != procedure.Device{}
		}
	}
	return procedure.Device{}, false
}

// room takes the place of observation over from the observer that is the same device.
func (r *reader) room(devices []procedure.Device, uid string) {
	for _, d := range devices {
		if d.UID == uid {
			r.report.Device.Room = d.Room
		}
	}
}

// participants reads the person participants among the children of an item.
func participants(kids map[procedure.Code][]item) []procedure.Person {
	var out []procedure.Person
	for _, it := range kids[identity(conceptPersonName())] {
		p := procedure.Person{Name: it.text()}
		for _, row := range participantTexts() {
			if sub, ok := it.first(row.concept); ok {
				*row.at(&p) = sub.text()
			}
		}
		for _, row := range participantCodes() {
			if sub, ok := it.first(row.concept); ok {
				row.set(&p, sub.code())
			}
		}
		out = append(out, p)
	}
	return out
}
