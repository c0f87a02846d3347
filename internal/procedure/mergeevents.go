package procedure

import (
	"cmp"
	"fmt"
	"slices"
)

// eventMerge is the events that count, in canonical order, and which of them each report holds.
type eventMerge struct {
	events     []Event
	superseded []Event
	// sets holds for each report the indexes into events of what it reports, changed values included.
	sets     []map[int]bool
	findings []Finding
}

// occurrence is one event as one report gives it.
type occurrence struct {
	event  Event
	print  string
	report int
}

// identity is what makes an event the same event in several reports.
type identity struct {
	uid   string
	plane Plane
	// Without a UID: the report that stands for it, what it says, and its place where it has no time either.
	report       int
	print, place string
}

// winner is an event that counts, with the occurrences that it stands for.
type winner struct {
	occurrence
	stands []occurrence
}

// mergeEvents counts each irradiation event of each plane once.
//
//   - Identity is (event UID, plane). Same values: one event, kept as the earliest report gave it.
//   - Other values in a later report: the later count, the older become superseded. One exception: when start and dose
//     both differ, the UID was reused for another irradiation and both count.
//   - Other values inside one report: both count.
//   - Without a UID identity is (report, start, plane, values), and where there is no time of day either, the place in
//     the report. A report that lists all such events of an interim report of the same accumulation stands for it.
func mergeEvents(reports []received) eventMerge {
	var m eventMerge
	groups := make(map[identity][]occurrence)
	homes := resentIn(reports)
	for i, r := range reports {
		for _, e := range r.Events {
			e.ReportUID = cmp.Or(e.ReportUID, r.SOPInstanceUID)
			o := occurrence{event: e, print: eventPrint(e), report: i}
			id := identity{uid: e.UID, plane: e.Plane}
			if e.UID == "" {
				id = identity{plane: e.Plane, report: i, print: o.print, place: e.Place}
				if hasTime(e) {
					id.report, id.place = homes[i], ""
				}
			}
			groups[id] = append(groups[id], o)
		}
		if homes[i] != i {
			m.findings = append(m.findings, Finding{
				Rule: "events-without-uid-resent", Severity: Repaired, Place: "report " + r.SOPInstanceUID,
				Text: fmt.Sprintf("its events without UID all come again in report %s: counted once", reports[homes[i]].SOPInstanceUID),
			})
		}
		m.findings = append(m.findings, uidsMissing(r)...)
	}
	var winners []winner
	for id, occurrences := range groups {
		won, lost, findings := settleEvent(id, occurrences)
		winners = append(winners, won...)
		m.superseded = append(m.superseded, lost...)
		m.findings = append(m.findings, findings...)
	}
	m.place(winners, len(reports))
	slices.SortFunc(m.superseded, compareEvents)
	slices.SortFunc(m.findings, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(a.Rule, b.Rule), cmp.Compare(a.Place, b.Place), cmp.Compare(a.Text, b.Text))
	})
	return m
}

// place puts the winners in canonical order and notes which report holds which.
func (m *eventMerge) place(winners []winner, reports int) {
	slices.SortFunc(winners, func(a, b winner) int {
		return cmp.Or(compareEvents(a.event, b.event), cmp.Compare(a.report, b.report))
	})
	m.sets = make([]map[int]bool, reports)
	for i := range m.sets {
		m.sets[i] = make(map[int]bool)
	}
	for i, w := range winners {
		m.events = append(m.events, w.event)
		for _, o := range w.stands {
			m.sets[o.report][i] = true
		}
	}
}

// settleEvent walks the occurrences of one identity from the latest report to the earliest.
func settleEvent(id identity, occurrences []occurrence) (won []winner, lost []Event, findings []Finding) {
	place := fmt.Sprintf("irradiation event %s (%s)", cmp.Or(id.uid, "without UID"), id.plane)
	lostPrints := make(map[string]bool)
	for _, o := range slices.Backward(occurrences) {
		if k := slices.IndexFunc(won, func(w winner) bool { return w.print == o.print }); k >= 0 {
			if slices.ContainsFunc(won[k].stands, func(s occurrence) bool { return s.report == o.report && s.print == o.print }) {
				findings = append(findings, Finding{"event-repeated", Note, place, "listed twice with the same values in report " + o.event.ReportUID + ": counted once"})
			}
			won[k].event, won[k].stands = o.event, append(won[k].stands, o)
			continue
		}
		k := slices.IndexFunc(won, func(w winner) bool { return w.report > o.report && sameIrradiation(w.event, o.event) })
		if k < 0 {
			if len(won) > 0 {
				findings = append(findings, Finding{"event-uid-shared", Suspect, place, "the same event UID and plane stand for irradiations with other values: all count"})
			}
			won = append(won, winner{occurrence: o, stands: []occurrence{o}})
			continue
		}
		won[k].stands = append(won[k].stands, o)
		if !lostPrints[o.print] {
			lostPrints[o.print] = true
			lost = append(lost, o.event)
			findings = append(findings, Finding{"event-amended", Reduced, place, fmt.Sprintf("report %s gives other values than report %s: the later count, the older stay visible", won[k].event.ReportUID, o.event.ReportUID)})
		}
	}
	return won, lost, findings
}

// sameIrradiation tells whether b can be a corrected a. A correction changes the dose or the clock, not both.
func sameIrradiation(a, b Event) bool {
	if !hasTime(a) || !hasTime(b) || a.Start.Time.Equal(b.Start.Time) {
		return true
	}
	return a.RefKerma == b.RefKerma && a.KAP == b.KAP && (a.RefKerma.Present() || a.KAP.Present())
}

// resentIn gives for each report the report that stands for its events without UID: itself, unless another of the same
// accumulation lists all of them. The largest such report stands for all, the latest among equals.
func resentIn(reports []received) []int {
	sets := make([]map[string]bool, len(reports))
	for i, r := range reports {
		sets[i] = make(map[string]bool)
		for _, e := range r.Events {
			if e.UID == "" && hasTime(e) {
				sets[i][eventPrint(e)] = true
			}
		}
	}
	homes := make([]int, len(reports))
	for i := range reports {
		homes[i] = i
		for j := range reports {
			best := homes[i]
			larger := len(sets[j]) > len(sets[best]) || len(sets[j]) == len(sets[best]) && j > best
			if len(sets[i]) > 0 && larger && sameAccumulation(reports[i], reports[j]) && within(sets[i], sets[j]) {
				homes[i] = j
			}
		}
	}
	return homes
}

// sameAccumulation tells whether the later of two reports may repeat the events of the other.
func sameAccumulation(a, b received) bool {
	if a.Scope == ScopeUnknown {
		return false
	}
	return a.Scope == ScopeToThisPoint || a.Scope == b.Scope && a.ScopeUID == b.ScopeUID
}

// uidsMissing notes once for a report how many of its events have no UID.
func uidsMissing(r received) []Finding {
	missing := 0
	for _, e := range r.Events {
		if e.UID == "" {
			missing++
		}
	}
	if missing == 0 {
		return nil
	}
	return []Finding{{
		Rule: "event-uid-missing", Severity: Reduced, Place: "report " + r.SOPInstanceUID,
		Text: fmt.Sprintf("%d of %d irradiation events have no UID: a repeat in another report cannot be told from a new event", missing, len(r.Events)),
	}}
}

func hasTime(e Event) bool { return !e.Start.IsZero() && !e.Start.DateOnly }

func within[K comparable](a, b map[K]bool) bool {
	for k := range a {
		if !b[k] {
			return false
		}
	}
	return true
}

// compareEvents is the canonical order: start, UID, plane, then everything said.
func compareEvents(a, b Event) int {
	if c := cmp.Or(a.Start.Time.Compare(b.Start.Time), cmp.Compare(a.UID, b.UID), cmp.Compare(a.Plane, b.Plane)); c != 0 {
		return c
	}
	return cmp.Or(cmp.Compare(eventPrint(a), eventPrint(b)), cmp.Compare(a.ReportUID, b.ReportUID), cmp.Compare(a.Place, b.Place))
}
