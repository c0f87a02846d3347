package procedure

import (
	"cmp"
	"fmt"
	"slices"
)

// Merge joins reports into procedures: one for each study on each device, in the order of study UID and device key.
// The result does not depend on the order of the reports, nor on reports that come twice.
//
// Reports are put in canonical order (content time, then digest), so that "earlier" and "later" below never mean the
// order of arrival.
//
//   - Reports: an equal data set is one report. Under one SOP UID the earliest content counts; other content under the
//     same UID is named in a Finding and counts nowhere, also where the first is sent once more after it: X, Y, X is X. A
//     correction has a SOP UID of its own. Equal content under another SOP UID counts once.
//   - Events: see mergeEvents. Totals: see mergeTotals.
//   - State: Complete when a report covers the study or a performed procedure step, else Provisional (a caller with a
//     clock may call it complete after its own waiting time); Amended when a later report changed what was complete,
//     or replaced an event's values.
//
// A report without a study UID stands alone: there is nothing that says which case it belongs to.
func Merge(reports []Report) []Procedure {
	ordered := canonical(reports)
	groups := make(map[procedureKey][]received)
	for _, r := range ordered {
		groups[keyOf(r)] = append(groups[keyOf(r)], r)
	}
	keys := make([]procedureKey, 0, len(groups))
	for key := range groups {
		keys = append(keys, key)
	}
	slices.SortFunc(keys, func(a, b procedureKey) int {
		return cmp.Or(cmp.Compare(a.study, b.study), cmp.Compare(a.device, b.device), cmp.Compare(a.alone, b.alone))
	})
	procedures := make([]Procedure, 0, len(keys))
	for _, key := range keys {
		procedures = append(procedures, assemble(groups[key]))
	}
	link(procedures)
	for i, key := range keys {
		crossCheck(procedures, i, groups, key)
	}
	return procedures
}

// procedureKey is what makes a procedure; alone is the SOP UID of a report without a study UID.
type procedureKey struct{ study, device, alone string }

func keyOf(r received) procedureKey {
	key := procedureKey{study: r.StudyUID, device: r.Device.Key()}
	if r.StudyUID == "" {
		key.alone = cmp.Or(r.SOPInstanceUID, r.print)
	}
	return key
}

// doses is what the reports of one procedure add up to.
type doses struct {
	events   eventMerge
	totals   []PlaneTotal
	findings []Finding
}

func addUp(reports []received) doses {
	var d doses
	d.events = mergeEvents(reports)
	d.totals, d.findings = mergeTotals(reports, d.events)
	return d
}

// same tells whether two sums of reports say the same about dose.
func (d doses) same(e doses) bool {
	return slices.EqualFunc(d.events.events, e.events.events, func(a, b Event) bool { return eventPrint(a) == eventPrint(b) }) &&
		slices.EqualFunc(d.totals, e.totals, func(a, b PlaneTotal) bool { return fingerprint(a) == fingerprint(b) })
}

func assemble(group []received) Procedure {
	counted, uids, findings := settleReports(group)
	for i := range counted {
		var repairs []Finding
		counted[i], repairs = withPlanesRead(counted[i])
		findings = append(findings, repairs...)
	}
	whole := addUp(counted)
	latest := counted[len(counted)-1]
	p := Procedure{
		StudyUID:   latest.StudyUID,
		DeviceKey:  latest.Device.Key(),
		Device:     latest.Device,
		State:      stateOf(counted, whole),
		Events:     whole.events.events,
		Superseded: whole.events.superseded,
		Totals:     whole.totals,
		ReportUIDs: uids,
	}
	for _, r := range counted {
		p.Findings = append(p.Findings, r.Findings...)
		for _, person := range r.Persons {
			if !slices.Contains(p.Persons, person) {
				p.Persons = append(p.Persons, person)
			}
		}
	}
	var more []Finding
	p.Patient, more = patientOf(counted)
	findings = append(findings, more...)
	p.Study = studyOf(counted)
	p.Purpose, more = purposeOf(counted)
	findings = append(findings, more...)
	p.Start = startOf(p.Events, counted)
	findings = append(findings, whole.events.findings...)
	findings = append(findings, whole.findings...)
	findings = append(findings, planeFindings(p)...)
	if p.StudyUID == "" {
		findings = append(findings, Finding{
			Rule: "study-uid-missing", Severity: Reduced, Place: "report " + latest.SOPInstanceUID,
			Text: "no study UID: the report stands alone as one procedure",
		})
	}
	p.Findings = distinct(append(p.Findings, findings...))
	return p
}

// stateOf compares what the reports up to the first complete one say with what all of them say.
func stateOf(counted []received, whole doses) State {
	first := slices.IndexFunc(counted, func(r received) bool { return r.Scope == ScopeStudy || r.Scope == ScopeStep })
	switch {
	case first < 0:
		return Provisional
	case len(whole.events.superseded) > 0:
		return Amended
	case first < len(counted)-1 && !addUp(counted[:first+1]).same(whole):
		return Amended
	}
	return Complete
}

// link names in each procedure the devices of the other procedures of the same study, and an event UID that both count.
func link(procedures []Procedure) {
	for i := range procedures {
		p := &procedures[i]
		if p.StudyUID == "" {
			continue
		}
		own := make(map[string]bool, len(p.Events))
		for _, e := range p.Events {
			own[e.UID] = e.UID != ""
		}
		for j := range procedures {
			q := procedures[j]
			if i == j || q.StudyUID != p.StudyUID {
				continue
			}
			p.Linked = append(p.Linked, q.DeviceKey)
			shared := 0
			for _, e := range q.Events {
				if own[e.UID] {
					shared++
				}
			}
			if shared > 0 {
				p.Findings = append(p.Findings, Finding{
					Rule: "event-on-two-devices", Severity: Suspect, Place: "study " + p.StudyUID,
					Text: fmt.Sprintf("%d irradiation event UIDs also count in this study's procedure of device %s", shared, q.DeviceKey),
				})
			}
		}
	}
}

// crossCheck names reports whose SOP UID or content is also counted in another procedure. Both count, so that no
// patient's dose is lost; which of them is right is for a person to say.
func crossCheck(procedures []Procedure, i int, groups map[procedureKey][]received, key procedureKey) {
	uids, contents := make(map[string]bool), make(map[string]bool)
	for _, r := range groups[key] {
		uids[r.SOPInstanceUID] = r.SOPInstanceUID != ""
		contents[r.ContentDigest] = r.ContentDigest != ""
	}
	var found []Finding
	for other, reports := range groups {
		if other == key {
			continue
		}
		for _, r := range reports {
			if uids[r.SOPInstanceUID] || contents[r.ContentDigest] {
				found = append(found, Finding{
					Rule: "report-in-two-procedures", Severity: Suspect, Place: "report " + r.SOPInstanceUID,
					Text: fmt.Sprintf("its SOP UID or content also counts in study %q on device %q: review whose it is", other.study, other.device),
				})
			}
		}
	}
	slices.SortFunc(found, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(a.Place, b.Place), cmp.Compare(a.Text, b.Text))
	})
	procedures[i].Findings = distinct(append(procedures[i].Findings, found...))
}

// distinct keeps the first of equal findings.
func distinct(findings []Finding) []Finding {
	seen := make(map[Finding]bool, len(findings))
	var out []Finding
	for _, f := range findings {
		if !seen[f] {
			seen[f] = true
			out = append(out, f)
		}
	}
	return out
}
