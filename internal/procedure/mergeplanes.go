package procedure

import (
	"fmt"
	"slices"
)

// withPlanesRead copies a report with plane codes that contradict each other read anew, each as a Finding, and with one
// total for each plane.
func withPlanesRead(r received) (received, []Finding) {
	events, totals := planesOfEvents(r.Events), planesOfTotals(r.Planes)
	var findings []Finding
	for _, from := range []Plane{PlaneUnknown, PlaneSingle} {
		if !events[from] && !totals[from] {
			continue
		}
		to, read := planeMeant(from, events, totals)
		if read {
			r.Events, r.Planes = replanned(r.Events, r.Planes, from, to)
			events, totals = planesOfEvents(r.Events), planesOfTotals(r.Planes)
			findings = append(findings, Finding{
				Rule: "plane-code-read", Severity: Repaired, Place: "report " + r.SOPInstanceUID,
				Text: fmt.Sprintf("events or totals coded %s beside other planes: read as %s", from, to),
			})
			continue
		}
		if len(events) > 1 || len(totals) > 1 || to != from {
			findings = append(findings, Finding{
				Rule: "plane-code-unclear", Severity: Reduced, Place: "report " + r.SOPInstanceUID,
				Text: fmt.Sprintf("%s beside other planes: counted as a plane of its own, which may count some dose twice", from),
			})
		}
	}
	var more []Finding
	r.Planes, more = oneTotalEach(r)
	return r, append(findings, more...)
}

func planesOfEvents(events []Event) map[Plane]bool {
	planes := make(map[Plane]bool)
	for _, e := range events {
		planes[e.Plane] = true
	}
	return planes
}

func planesOfTotals(totals []PlaneTotal) map[Plane]bool {
	planes := make(map[Plane]bool)
	for _, t := range totals {
		planes[t.Plane] = true
	}
	return planes
}

// planeMeant reads a plane code that does not fit the others: an unknown plane beside exactly one known plane is that
// plane; a single plane beside only A is B and beside only B is A; beside both it is the one that has events where the
// single plane has totals, or the other way round. Without such a reading it gives from and false.
func planeMeant(from Plane, events, totals map[Plane]bool) (Plane, bool) {
	has := func(p Plane) bool { return events[p] || totals[p] }
	if from == PlaneUnknown {
		var known []Plane
		for _, p := range []Plane{PlaneSingle, PlaneA, PlaneB} {
			if has(p) {
				known = append(known, p)
			}
		}
		if len(known) == 1 && fits(from, known[0], events, totals) {
			return known[0], true
		}
		return from, false
	}
	switch {
	case has(PlaneA) && !has(PlaneB):
		return PlaneB, true
	case has(PlaneB) && !has(PlaneA):
		return PlaneA, true
	case has(PlaneA) && has(PlaneB):
		for _, p := range []Plane{PlaneB, PlaneA} {
			if fits(from, p, events, totals) {
				return p, true
			}
		}
	}
	return from, false
}

// fits tells whether one plane has only the events and the other only the totals.
func fits(a, b Plane, events, totals map[Plane]bool) bool {
	return events[a] != totals[a] && events[b] != totals[b] && events[a] != events[b]
}

func replanned(events []Event, totals []PlaneTotal, from, to Plane) ([]Event, []PlaneTotal) {
	events, totals = slices.Clone(events), slices.Clone(totals)
	for i := range events {
		if events[i].Plane == from {
			events[i].Plane = to
		}
	}
	for i := range totals {
		if totals[i].Plane == from {
			totals[i].Plane = to
		}
	}
	return events, totals
}

// oneTotalEach joins several totals of one plane in one report: equal ones are one, others add, since equipment that
// codes plane B like plane A gives two.
func oneTotalEach(r received) ([]PlaneTotal, []Finding) {
	totals := slices.Clone(r.Planes)
	// The order of joining is that of content, so that sums have equal bits.
	slices.SortStableFunc(totals, func(a, b PlaneTotal) int { return int(a.Plane) - int(b.Plane) })
	var out []PlaneTotal
	var findings []Finding
	for _, t := range totals {
		last := len(out) - 1
		if last < 0 || out[last].Plane != t.Plane {
			out = append(out, t)
			continue
		}
		text := "two equal totals: counted once"
		if fingerprint(out[last]) != fingerprint(t) {
			text = "several totals with other values: added, as of two planes coded alike"
			out[last] = added(out[last], t)
		}
		findings = append(findings, Finding{
			Rule: "plane-totalled-twice", Severity: Reduced,
			Place: fmt.Sprintf("report %s / totals of %s", r.SOPInstanceUID, t.Plane), Text: text,
		})
	}
	return out, findings
}

// added adds two totals of one report. A quantity that only one of them has is partial.
func added(a, b PlaneTotal) PlaneTotal {
	for _, f := range totalFields() {
		x, okA := f.get(a)
		y, okB := f.get(b)
		if okA || okB {
			f.set(&a, x+y)
		}
		if okA != okB {
			a.Partial |= f.bit
		}
	}
	a.Suspicion |= b.Suspicion
	a.Partial |= b.Partial
	a.Calibrations = append(slices.Clone(a.Calibrations), b.Calibrations...)
	return a
}
