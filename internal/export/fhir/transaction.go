package fhir

import "errors"

// Transaction writes all of a procedure as one transaction for another server. What was sent before is replaced, found by the
// identifiers that this program gives; the device is made where it is not there. No identifier of a patient is in a URL. It
// returns ErrUnmet like Summary: nothing is sent in part.
func Transaction(c Case) (*Bundle, error) {
	w := writer{Case: c, sent: true}
	summary, err := w.summary()
	if err != nil {
		return nil, err
	}
	report, err := w.report()
	if err != nil {
		return nil, err
	}
	b := &Bundle{Header: Header{Type: "Bundle", ID: w.ID}, Kindred: "transaction"}
	if i := w.Device.key(); i != nil {
		device := DeviceOf(w.Device)
		device.ID = ""
		b.Entry = append(b.Entry, Entry{
			FullURL: w.urn("device"), Resource: device, Request: &Request{Method: "POST", URL: "Device", IfNoneExist: i.search()},
		})
	}
	put := func(part string, r Resource) {
		b.Entry = append(b.Entry, Entry{
			FullURL: w.urn(part), Resource: r, Request: &Request{Method: "PUT", URL: r.Kind() + "?" + w.identified(part).search()},
		})
	}
	put(PartSummary, summary)
	for _, one := range w.parts() {
		put(one.name, one.Observation)
	}
	put(PartReport, report)
	if change := w.change(); change != nil {
		b.Entry = append(b.Entry, Entry{FullURL: w.urn(PartProvenance), Resource: change, Request: &Request{Method: "POST", URL: "Provenance"}})
	}
	return b, nil
}

// Outcome says one thing that went wrong. code is of the value set issue-type; details is for people.
func Outcome(severity, code, details string) *OperationOutcome {
	o := &OperationOutcome{Header: Header{Type: "OperationOutcome"}, Issue: []Issue{{Severity: severity, Code: code}}}
	if details = clean(details); details != "" {
		o.Issue[0].Details = &Concept{Text: details}
	}
	return o
}

// Unmet says that a profile cannot be met, one issue for each thing that is missing; nil when err is another failure.
func Unmet(c Case, err error) *OperationOutcome {
	if !errors.Is(err, ErrUnmet) {
		return nil
	}
	o := &OperationOutcome{Header: Header{Type: "OperationOutcome"}}
	for _, lacking := range c.Unmet() {
		o.Issue = append(o.Issue, Issue{Severity: "error", Code: "business-rule", Details: &Concept{Text: "The profile of the radiation dose summary cannot be met: " + lacking + "."}})
	}
	return o
}
