package commission

import (
	"fmt"
	"math"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// HeightLimit is how far two ways of measuring the table top's height may be apart; judgement: two tapes and the mark of
// the focal spot, each within a centimetre.
const HeightLimit quantity.Millimetre = 20

// zeros finds the numbers at which the table stands at the isocentre, from what was measured by tape.
func (r *Result) zeros(report *procedure.Report, base procedure.DeviceProfile) error {
	r.HeightZero = Zero{Conclusion: Conclusion{Question: "zero of the table height", Unit: "mm"}}
	r.LeftZero = Zero{Conclusion: Conclusion{Question: "zero across the table", Unit: "mm"}}
	r.HeadZero = Zero{Conclusion: Conclusion{Question: "zero along the table", Unit: "mm"}}
	h := r.Record.Heights
	if h.Event == 0 {
		for _, z := range []*Zero{&r.HeightZero, &r.LeftZero, &r.HeadZero} {
			z.Says = "nothing was measured by tape"
		}
		return nil
	}
	e, err := r.event(report, h.Event)
	if err != nil {
		return err
	}
	r.HeightZero.height(r, e, base)
	r.LeftZero.plain(r, e, procedure.AxisTableLeft, h.Midline, "the table's midline")
	r.HeadZero.plain(r, e, procedure.AxisTableHead, h.Reference, "the table's reference point")
	return nil
}

// showing finds the position that was shown to have a meaning, and its number in an event.
func (r *Result) showing(e *procedure.Event, meaning procedure.AxisMeaning) (means procedure.TableAxis, number quantity.Millimetre, missing string) {
	for i, a := range [3]*Axis{&r.Longitudinal, &r.Lateral, &r.Height} {
		if a.State != Shown || a.Means.Meaning != meaning {
			continue
		}
		p := positions()[i]
		number, ok := p.of(&e.Mechanics).Get()
		if !ok {
			return a.Means, 0, fmt.Sprintf("event %d does not tell the %s", r.Record.Heights.Event, p.name)
		}
		return a.Means, number, ""
	}
	return procedure.TableAxis{}, 0, "no table position is shown to have this meaning"
}

// settle takes the number with the table at the isocentre, eq. (11.3): at is where the table stands against it.
func (z *Zero) settle(event int, means procedure.TableAxis, number, at quantity.Millimetre) {
	z.State, z.Events = Shown, []int{event}
	z.Number = quantity.Some(number - quantity.Millimetre(means.Sign)*at)
}

// height wants two ways that agree: heights above the floor, and the distance from the focal spot.
func (z *Zero) height(r *Result, e *procedure.Event, base procedure.DeviceProfile) {
	h := r.Record.Heights
	means, number, missing := r.showing(e, procedure.AxisTableDown)
	if missing != "" {
		z.Says = missing
		return
	}
	isocentre, hasIsocentre := h.Isocentre.Get()
	top, hasTop := h.TableTop.Get()
	tape, hasTape := h.SourceToTable.Get()
	if !hasIsocentre || !hasTop || !hasTape {
		z.Says = "wanted are the heights of isocentre and table top and the distance from focal spot to table, which check each other"
		return
	}
	distance, ok := e.Mechanics.SourceToIsocentre.Get()
	if !ok {
		if distance, ok = base.SourceToIsocentre.Get(); !ok {
			z.Says = fmt.Sprintf("event %d does not tell the distance from source to isocentre, and no profile does", h.Event)
			return
		}
	}
	if !r.frontal(h.Event) {
		z.Says = fmt.Sprintf("event %d is no frontal exposure of the record: the tape wants the tube straight below the table", h.Event)
		return
	}
	byFloor, byTape := isocentre-top, distance-tape
	z.Limit = quantity.Some(float64(HeightLimit))
	z.Residual = quantity.Some(math.Abs(float64(byFloor - byTape)))
	said := fmt.Sprintf("table top %s mm below the isocentre by the heights, %s mm by the distance from the focal spot", whole(byFloor), whole(byTape))
	if apart := byFloor - byTape; apart > HeightLimit || apart < -HeightLimit {
		z.State, z.Says, z.Events = Contradicted, said, []int{h.Event}
		return
	}
	z.settle(h.Event, means, number, (byFloor+byTape)/2)
	z.Says = fmt.Sprintf("%s mm with the table top at the isocentre (%s)", number1(z.Number), said)
}

func number1(o quantity.Opt[quantity.Millimetre]) string {
	v, _ := o.Get()
	return quantity.Fixed(float64(v), 1)
}

// frontal tells whether an event was made with the tube straight below the table.
func (r *Result) frontal(event int) bool {
	for _, x := range r.Record.Exposures {
		if x.Event == event {
			return math.Abs(float64(x.Left)) <= 10 && math.Abs(float64(x.Head)) <= 10
		}
	}
	return false
}

// plain takes a zero that one measurement gives.
func (z *Zero) plain(r *Result, e *procedure.Event, meaning procedure.AxisMeaning, measured quantity.Opt[quantity.Millimetre], what string) {
	at, ok := measured.Get()
	if !ok {
		z.Says = "the place of " + what + " was not measured; only relative motion is known"
		return
	}
	means, number, missing := r.showing(e, meaning)
	if missing != "" {
		z.Says = missing
		return
	}
	z.settle(r.Record.Heights.Event, means, number, at)
	z.Says = fmt.Sprintf("%s mm with %s at the isocentre (one measurement, checked by nothing)", number1(z.Number), what)
}
