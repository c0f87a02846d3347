package fhir

import "net/url"

// key is the identifier that a device is found by elsewhere: its UID, else its serial number; nil for neither.
func (e Equipment) key() *Identifier {
	if isUID(e.UID) {
		i := uid(e.UID, "")
		return &i
	}
	return assigned(e.Serial, "", identifierType("SNO"))
}

// DeviceOf writes a device as the newest report describes it.
func DeviceOf(e Equipment) *Device {
	d := &Device{
		Header: Header{Type: "Device", ID: e.ID}, Manufacturer: clean(e.Manufacturer), SerialNumber: clean(e.Serial), ModelNumber: clean(e.Model),
		KindOf: &Concept{Text: "X-ray equipment that sends dose reports"},
	}
	if isUID(e.UID) {
		d.Identifier = append(d.Identifier, uid(e.UID, ""))
	}
	if serial := assigned(e.Serial, "", identifierType("SNO")); serial != nil {
		d.Identifier = append(d.Identifier, *serial)
	}
	for _, name := range []DeviceName{{clean(e.Name), "user-friendly-name"}, {clean(e.Model), "model-name"}, {clean(e.Manufacturer), "manufacturer-name"}} {
		if name.Name != "" {
			d.DeviceName = append(d.DeviceName, name)
		}
	}
	for _, version := range e.Software {
		if version = clean(version); version != "" {
			d.Version = append(d.Version, DeviceValue{Type: &Concept{Text: "software"}, Value: version})
		}
	}
	if room := clean(e.Room); room != "" {
		d.Location = &Reference{Display: room}
	}
	return d
}

// search is the query by which a server looks for what an identifier names. An identifier without a system has an empty one.
func (i Identifier) search() string {
	return "identifier=" + url.QueryEscape(i.System+"|"+i.Value)
}
