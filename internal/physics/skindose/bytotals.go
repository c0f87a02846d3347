package skindose

import (
	"fmt"
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// worstRatio is the skin dose per reference air kerma of the worst single beam, which kerma without geometry adds to the
// high end: a lateral beam on a large patient.
// Source: eq. (6.1) with focus to isocentre 785 mm, B = 1.45, a patient of 130 kg and 175 cm; known: computed, 2.35.
const worstRatio = 2.4

// bound is one plane's skin dose from totals.
type bound struct {
	value, low, high quantity.Gray
	words            string
	// partial tells that the plane delivered more than this stands for.
	partial bool
	// fromKAP tells that it was made from the kerma-area product; dose turns another ratio to the same total into dose.
	fromKAP bool
	dose    func(ratio float64) quantity.Gray
}

// byTotals estimates from totals. Each plane hits its own skin as far as totals tell: the value and the low end are
// those of the plane with the highest dose, the high end adds the planes.
func (e *Estimate) byTotals(in Input, cal calibration, planes []delivered, why string) {
	e.Method, e.Reason, e.Class = MethodTotals, why, LittleKnown
	t := TotalsOf(in.Group)
	var best bound
	var high quantity.Gray
	found := 0
	for _, d := range separate(planes) {
		b, ok := boundOf(d, t, cal)
		if !ok || b.partial {
			e.LowerBound = true
			e.Assumptions = append(e.Assumptions, fmt.Sprintf("%s lacks a believed air kerma or kerma-area product for a part of what it delivered: that part is not in the estimate", d.plane))
		}
		if !ok {
			continue
		}
		found++
		high += b.high
		e.InputsUsed = append(e.InputsUsed, b.words)
		if b.value > best.value || found == 1 {
			best = b
		}
	}
	if found == 0 {
		e.none(why + "; no plane has a usable reference air kerma or kerma-area product")
		return
	}
	e.Value, e.Low, e.High = quantity.Some(best.value), quantity.Some(best.low), quantity.Some(high)
	e.Published = publishedFor(in.Procedure.Class, in.child(), best.fromKAP, best.dose)
	e.Assumptions = append(e.Assumptions, "peak skin dose from totals by the group "+groupWords(t.Group))
	if cal.behindTable {
		e.Assumptions = append(e.Assumptions, "the ratios of totals are for the displayed air kerma: a factor measured behind the table is not applied to them")
	}
	if found > 1 {
		e.Assumptions = append(e.Assumptions, "the planes are taken to hit different skin; the high end takes them on the same")
	}
	if best.value > 0 {
		e.Parts = Budget{{
			Name:    "peak skin dose from totals",
			Percent: quantity.Percent(25 * float64((high-best.low)/best.value)),
			Words:   "spread of published relations for the group: a quarter of the range over the value",
		}}
	}
	e.Sources = append(e.Sources, "judgement of the project from published relations of peak skin dose to totals; the table of totals names each")
}

// child tells whether the patient is known to be one.
func (in Input) child() bool {
	years, ok := SizeOf(in.Procedure, in.Facts).AgeYears.Get()
	return ok && years < grownUp
}

func groupWords(group string) string {
	switch group {
	case GroupStaticProjection:
		return "static projection (rhythm, valve, pump)"
	case GroupBody:
		return "body and aorta"
	case GroupUnknown:
		return "unknown: the class of the procedure has no relation of its own, so the range is wide"
	}
	return group
}

// separate leaves out the total over all planes where the planes themselves say as much.
func separate(planes []delivered) []delivered {
	var own []delivered
	var sum quantity.Gray
	whole := true
	var overall *delivered
	for i, d := range planes {
		if d.plane == procedure.PlaneAll {
			overall = &planes[i]
			continue
		}
		own = append(own, d)
		sum += d.kerma().Or(0)
		whole = whole && (d.wholeKerma || d.wholeKAP)
	}
	if overall == nil {
		return own
	}
	k, ok := overall.kerma().Get()
	if !ok && !overall.kap().Present() {
		return own
	}
	if len(own) == 0 || !whole || ok && k > sum {
		return []delivered{*overall}
	}
	return own
}

// boundOf turns a plane's reference air kerma into skin dose, else its kerma-area product: first what is whole.
func boundOf(d delivered, t Totals, cal calibration) (bound, bool) {
	kerma, hasKerma := d.kerma().Get()
	kap, hasKAP := d.kap().Get()
	switch {
	case hasKerma && d.wholeKerma:
		return kermaBound(d.plane, kerma, t, cal), true
	case hasKAP && d.wholeKAP:
		return kapBound(d.plane, kap, t), true
	case hasKerma:
		b := kermaBound(d.plane, kerma, t, cal)
		b.partial = true
		return b, true
	case hasKAP:
		b := kapBound(d.plane, kap, t)
		b.partial = true
		return b, true
	}
	return bound{}, false
}

func kermaBound(plane procedure.Plane, k quantity.Gray, t Totals, cal calibration) bound {
	if !cal.behindTable {
		k *= quantity.Gray(cal.factor)
	}
	return bound{
		dose:  func(ratio float64) quantity.Gray { return DoseFromKerma(k, quantity.Ratio(ratio)) },
		value: DoseFromKerma(k, t.PerKerma), low: DoseFromKerma(k, t.PerKermaLow), high: DoseFromKerma(k, t.PerKermaHigh),
		words: fmt.Sprintf("%s: reference air kerma %s Gy times %s (%s to %s), group %s", plane, quantity.Significant(float64(k), 3),
			ratio(float64(t.PerKerma)), ratio(float64(t.PerKermaLow)), ratio(float64(t.PerKermaHigh)), t.Group),
	}
}

func kapBound(plane procedure.Plane, kap quantity.GraySquareMetre, t Totals) bound {
	per := func(k PerKAP) string { return ratio(float64(k / MilliGrayPerGycm2)) }
	return bound{
		fromKAP: true,
		dose:    func(ratio float64) quantity.Gray { return DoseFromKAP(kap, PerKAP(ratio)*MilliGrayPerGycm2) },
		value:   DoseFromKAP(kap, t.PerKAP), low: DoseFromKAP(kap, t.PerKAPLow), high: DoseFromKAP(kap, t.PerKAPHigh),
		words: fmt.Sprintf("%s: kerma-area product %s Gy cm2 times %s (%s to %s) mGy per Gy cm2, group %s", plane,
			quantity.Significant(kap.Gycm2(), 3), per(t.PerKAP), per(t.PerKAPLow), per(t.PerKAPHigh), t.Group),
	}
}

func ratio(v float64) string { return quantity.Significant(v, 2) }

// raiseTo keeps an estimate from totals from falling below what the beams with geometry alone give.
func (e *Estimate) raiseTo(d *drawing, left remainder, cal calibration) {
	value, ok := e.Value.Get()
	floor := d.result.PeakDose()
	if !ok || floor <= 0 {
		return
	}
	_, high := d.spread(e)
	e.Sampling = nil // the range is that of the totals
	high += worstRatio * quantity.Gray(cal.factor) * left.missing
	if top, _ := e.High.Get(); high > top {
		e.High = quantity.Some(high)
		var parts []string
		for _, p := range d.budget {
			parts = append(parts, fmt.Sprintf("%s %s %%", p.Name, quantity.Significant(float64(p.Percent), 2)))
		}
		e.Assumptions = append(e.Assumptions, "the high end is that of the beams with geometry, as their inputs are known ("+strings.Join(parts, ", ")+
			"), and of the rest at the worst static angle")
	}
	if floor > value {
		e.Value = quantity.Some(floor)
		e.Assumptions = append(e.Assumptions, "the beams with geometry alone give more than the totals: their map's peak is the value")
	}
}

func (e *Estimate) none(why string) {
	e.Method, e.Reason, e.Class = MethodNone, why, LittleKnown
	e.Value, e.Low, e.High = quantity.None[quantity.Gray](), quantity.None[quantity.Gray](), quantity.None[quantity.Gray]()
	e.Parts = nil
}
