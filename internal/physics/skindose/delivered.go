package skindose

import (
	"fmt"

	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// delivered is what one plane delivered as far as it is believed: suspect totals and events count nowhere.
type delivered struct {
	plane procedure.Plane
	// total and sum are the plane's believed total and the sum of its believed events.
	totalKerma, sumKerma quantity.Opt[quantity.Gray]
	totalKAP, sumKAP     quantity.Opt[quantity.GraySquareMetre]
	// wholeKerma and wholeKAP tell that nothing the plane delivered is missing from the larger of total and sum.
	wholeKerma, wholeKAP bool
}

func (d delivered) kerma() quantity.Opt[quantity.Gray] {
	return procedure.PlaneDose{TotalKerma: d.totalKerma, SumKerma: d.sumKerma}.Kerma()
}

func (d delivered) kap() quantity.Opt[quantity.GraySquareMetre] {
	return procedure.PlaneDose{TotalKAP: d.totalKAP, SumKAP: d.sumKAP}.KAP()
}

// deliveredBy lists the planes of a procedure; a total over all planes comes as a plane of its own.
func deliveredBy(p procedure.Procedure) []delivered {
	planes := p.Planes()
	list := make([]delivered, 0, len(planes))
	for _, d := range planes {
		out := delivered{plane: d.Plane, totalKerma: possible(d.TotalKerma), totalKAP: possible(d.TotalKAP)}
		for _, t := range p.Totals {
			if t.Plane == d.Plane && t.Suspicion.Has(procedure.SuspectKerma) {
				out.totalKerma = quantity.None[quantity.Gray]()
			}
			if t.Plane == d.Plane && t.Suspicion.Has(procedure.SuspectKAP) {
				out.totalKAP = quantity.None[quantity.GraySquareMetre]()
			}
		}
		var all bool
		out.sumKerma, all = believedSum(p.Events, d.Plane, procedure.SuspectKerma,
			func(e procedure.Event) quantity.Opt[quantity.Gray] { return e.RefKerma })
		out.wholeKerma = all || out.totalKerma.Present() && !d.Partial.Has(procedure.SuspectKerma)
		out.sumKAP, all = believedSum(p.Events, d.Plane, procedure.SuspectKAP,
			func(e procedure.Event) quantity.Opt[quantity.GraySquareMetre] { return e.KAP })
		out.wholeKAP = all || out.totalKAP.Present() && !d.Partial.Has(procedure.SuspectKAP)
		list = append(list, out)
	}
	return list
}

// believedSum adds a quantity over the events of a plane; all tells that there are events and each has a believed value.
func believedSum[T ~float64](events []procedure.Event, plane procedure.Plane, suspect procedure.Suspicion, of func(procedure.Event) quantity.Opt[T]) (sum quantity.Opt[T], all bool) {
	var total T
	found, lacking := false, false
	for _, e := range events {
		if e.Plane != plane {
			continue
		}
		v, ok := possible(of(e)).Get()
		if !ok || e.Suspicion.Has(suspect) {
			lacking = true
			continue
		}
		found = true
		total += v
	}
	if !found {
		return quantity.None[T](), false
	}
	return quantity.Some(total), !lacking
}

// beyond is more than any case delivers in canonical units; judgement. It keeps products finite.
const beyond = 1e9

// possible drops a value that nothing can deliver.
func possible[T ~float64](o quantity.Opt[T]) quantity.Opt[T] {
	if v, ok := o.Get(); ok && v >= 0 && v <= beyond {
		return o
	}
	return quantity.None[T]()
}

// remainder is the kerma for which there is no geometry.
type remainder struct {
	missing, total quantity.Gray
	// notable tells that some plane, or all together, lack more than rounding explains.
	notable bool
	// unbounded tells that events without a known kerma are in no total either: the missing kerma may be more.
	unbounded bool
}

// remainderOf compares what each plane delivered with the kerma of its placed shots, eq. (7.4). What a plane has too
// much in its events does not pay for what another lacks; a total over all planes counts where it is larger.
func remainderOf(p procedure.Procedure, planes []delivered, shots []exposure.Shot, unplaced []exposure.Unplaced) remainder {
	placed, known := map[procedure.Plane]quantity.Gray{}, map[procedure.Plane]quantity.Gray{}
	blind := map[procedure.Plane]bool{}
	for i := range shots {
		placed[p.Events[shots[i].Event].Plane] += shots[i].Kerma
	}
	for _, u := range unplaced {
		plane := p.Events[u.Event].Plane
		k, ok := u.Kerma.Get()
		known[plane] += k
		blind[plane] = blind[plane] || !ok
	}
	var r remainder
	var allPlaced, overall quantity.Gray
	overallWhole := false
	for _, d := range planes {
		if d.plane == procedure.PlaneAll {
			overall = d.kerma().Or(0)
			overallWhole = d.totalKerma.Present() && d.wholeKerma
			continue
		}
		missing := known[d.plane]
		if total, ok := d.totalKerma.Get(); ok {
			missing = max(missing, total-placed[d.plane])
		}
		r.missing += missing
		r.notable = r.notable || missing > rangeWithoutGeometry*(placed[d.plane]+missing)
		r.total += placed[d.plane] + missing
		allPlaced += placed[d.plane]
		bounded := d.totalKerma.Present() && d.wholeKerma
		r.unbounded = r.unbounded || blind[d.plane] && !bounded
	}
	if overall > r.total {
		r.missing, r.total = max(r.missing, overall-allPlaced), overall
	}
	r.unbounded = r.unbounded && !overallWhole
	r.notable = r.notable || r.over(rangeWithoutGeometry)
	return r
}

func (r remainder) fraction() quantity.Opt[quantity.Ratio] {
	if r.total <= 0 {
		return quantity.None[quantity.Ratio]()
	}
	return quantity.Some(quantity.Ratio(r.missing / r.total))
}

func (r remainder) words() string {
	return fmt.Sprintf("%s %% of kerma has no geometry", quantity.Significant(100*float64(r.missing/r.total), 2))
}

// over tells whether the remainder is more than a part of the whole.
func (r remainder) over(part quantity.Ratio) bool {
	f, ok := r.fraction().Get()
	return ok && f > part
}
