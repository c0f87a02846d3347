package procedure

import (
	"fmt"
	"slices"

	"afterbeam/internal/quantity"
)

// Planes gives what each plane delivered, in the order of the plane codes. Sums run over Events in their order, which
// Merge makes canonical, so that equal cases have equal bits.
//
// Fluoroscopy time is the total, else the sum of the durations when each fluoroscopy event has one.
func (p Procedure) Planes() []PlaneDose {
	events, totals := planesOfEvents(p.Events), planesOfTotals(p.Totals)
	var doses []PlaneDose
	for _, plane := range []Plane{PlaneUnknown, PlaneSingle, PlaneA, PlaneB, PlaneAll} {
		if !events[plane] && !totals[plane] {
			continue
		}
		d := PlaneDose{Plane: plane}
		for _, t := range p.Totals {
			if t.Plane == plane {
				d.TotalKerma, d.TotalKAP, d.FluoroTime = t.RefKerma, t.KAP, t.FluoroTime
				d.Suspicion, d.Partial = d.Suspicion|t.Suspicion, d.Partial|t.Partial
			}
		}
		d.SumKerma, d.KermaComplete = sumOver(p.Events, plane, func(e Event) quantity.Opt[quantity.Gray] { return e.RefKerma })
		d.SumKAP, d.KAPComplete = sumOver(p.Events, plane, func(e Event) quantity.Opt[quantity.GraySquareMetre] { return e.KAP })
		if !d.FluoroTime.Present() {
			time, complete := sumOver(p.Events, plane, fluoroscopyTime)
			if complete {
				d.FluoroTime = time
			}
		}
		for _, e := range p.Events {
			if e.Plane == plane {
				d.Suspicion |= e.Suspicion
			}
		}
		doses = append(doses, d)
	}
	return doses
}

// fluoroscopyTime is an event's share of fluoroscopy time: zero for an acquisition, unknown for an unknown type.
func fluoroscopyTime(e Event) quantity.Opt[quantity.Second] {
	switch e.Type {
	case Fluoroscopy:
		return e.Technique.Duration
	case EventUnknown:
		return quantity.None[quantity.Second]()
	case Stationary, Stepping, Rotational:
	}
	return quantity.Some(quantity.Second(0))
}

// sumOver adds a quantity over the events of a plane; complete tells that there are events and all have it.
func sumOver[T ~float64](events []Event, plane Plane, of func(Event) quantity.Opt[T]) (sum quantity.Opt[T], complete bool) {
	var total T
	found, all := false, true
	for _, e := range events {
		if e.Plane != plane {
			continue
		}
		v, ok := of(e).Get()
		total += v
		found, all = found || ok, all && ok
	}
	if !found {
		return quantity.None[T](), false
	}
	return quantity.Some(total), all
}

// KermaKnown tells whether Kerma is the plane's whole kerma and not a part of it.
func (d PlaneDose) KermaKnown() bool {
	return d.KermaComplete || d.TotalKerma.Present() && !d.Partial.Has(SuspectKerma)
}

// KAPKnown tells whether KAP is the plane's whole kerma-area product and not a part of it.
func (d PlaneDose) KAPKnown() bool {
	return d.KAPComplete || d.TotalKAP.Present() && !d.Partial.Has(SuspectKAP)
}

// CaseDose is the sum over the planes of a case: the cautious value for levels. It is no dose at one place of the skin.
type CaseDose struct {
	// Kerma, KAP and FluoroTime are absent when any plane's is unknown; the Missing lists name these planes.
	Kerma      quantity.Opt[quantity.Gray]
	KAP        quantity.Opt[quantity.GraySquareMetre]
	FluoroTime quantity.Opt[quantity.Second]

	KermaMissing, KAPMissing, TimeMissing []string

	// LeastKerma, LeastKAP and LeastTime add what is known: lower bounds that can reach a level, never lie below one.
	LeastKerma quantity.Opt[quantity.Gray]
	LeastKAP   quantity.Opt[quantity.GraySquareMetre]
	LeastTime  quantity.Opt[quantity.Second]
	Suspicion  Suspicion
}

// CaseDose adds up the planes of the procedure.
func (p Procedure) CaseDose() CaseDose { return SumPlanes(p.Planes()) }

// SumPlanes adds up planes. A total over all planes stands for the sum of the others where it is larger, and knows what
// they lack. Without any plane everything is absent.
func SumPlanes(planes []PlaneDose) CaseDose {
	var c CaseDose
	for _, d := range planes {
		c.Suspicion |= d.Suspicion
	}
	c.Kerma, c.LeastKerma, c.KermaMissing = acrossPlanes(planes, PlaneDose.Kerma, PlaneDose.KermaKnown)
	c.KAP, c.LeastKAP, c.KAPMissing = acrossPlanes(planes, PlaneDose.KAP, PlaneDose.KAPKnown)
	c.FluoroTime, c.LeastTime, c.TimeMissing = acrossPlanes(planes,
		func(d PlaneDose) quantity.Opt[quantity.Second] { return d.FluoroTime },
		func(d PlaneDose) bool { return d.FluoroTime.Present() })
	return c
}

func acrossPlanes[T ~float64](planes []PlaneDose, value func(PlaneDose) quantity.Opt[T], known func(PlaneDose) bool) (whole, least quantity.Opt[T], missing []string) {
	var sum T
	found := false
	overall, overallKnown := quantity.None[T](), false
	for _, d := range planes {
		v, ok := value(d).Get()
		if d.Plane == PlaneAll {
			overall, overallKnown = value(d), ok && known(d)
			continue
		}
		sum += v
		found = found || ok
		if !ok || !known(d) {
			missing = append(missing, d.Plane.String())
		}
	}
	if found {
		least = quantity.Some(sum)
	}
	if lone(planes) {
		missing = append(missing, PlaneA.String())
	}
	least = larger(least, overall)
	if overallKnown {
		return least, least, nil
	}
	if len(missing) > 0 || !found {
		return quantity.None[T](), least, missing
	}
	return least, least, nil
}

// lone tells that there is a plane B without its plane A, whose report may be missing.
func lone(planes []PlaneDose) bool {
	has := func(plane Plane) bool {
		return slices.ContainsFunc(planes, func(d PlaneDose) bool { return d.Plane == plane })
	}
	return has(PlaneB) && !has(PlaneA)
}

// planeFindings makes visible what one plane has and another lacks, and totals that are not the sum of their events.
func planeFindings(p Procedure) []Finding {
	var findings []Finding
	events, totals := planesOfEvents(p.Events), planesOfTotals(p.Totals)
	for _, d := range p.Planes() {
		place := fmt.Sprintf("study %s / %s", p.StudyUID, d.Plane)
		add := func(rule, text string) {
			findings = append(findings, Finding{Rule: rule, Severity: Reduced, Place: place, Text: text})
		}
		switch {
		case !totals[d.Plane] && len(totals) > 0 && !totals[PlaneAll]:
			add("plane-without-totals", "the plane has events but no totals, while another plane has: the sum of its events stands in")
		case !events[d.Plane] && len(events) > 0 && d.Plane != PlaneAll && !nothing(d):
			add("plane-without-events", "the plane has totals but no events, while another plane has: its dose has no geometry")
		case d.Plane == PlaneB && !events[PlaneA] && !totals[PlaneA]:
			add("plane-a-absent", "plane B without plane A: a report of plane A may be missing")
		}
		if text := unlike(d.TotalKerma, d.SumKerma, d.KermaComplete); text != "" {
			add("kerma-total-differs", "air kerma: "+text)
		}
		if text := unlike(d.TotalKAP, d.SumKAP, d.KAPComplete); text != "" {
			add("kap-total-differs", "kerma-area product: "+text)
		}
	}
	return findings
}

// nothing tells that the plane is known to have delivered nothing.
func nothing(d PlaneDose) bool {
	kerma, okKerma := d.Kerma().Get()
	kap, okKAP := d.KAP().Get()
	return (okKerma || okKAP) && kerma == 0 && kap == 0
}

// unlike words a difference of total and sum beyond rounding: 1 % below the sum, 2 % above it (common practice, no
// source; the 2 % is also where kerma without geometry starts to count).
func unlike[T ~float64](total, sum quantity.Opt[T], complete bool) string {
	t, okT := total.Get()
	s, okS := sum.Get()
	switch {
	case !okT || !okS:
		return ""
	case float64(s) > float64(t)*1.01:
		return "the events add up to more than the total; the larger counts for levels"
	case complete && float64(t-s) > 0.02*float64(t):
		return "the total is more than the events add up to; the larger counts for levels"
	}
	return ""
}
