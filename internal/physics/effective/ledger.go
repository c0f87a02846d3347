package effective

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// rounding is the relative difference of total and sum that the printing of decimal numbers explains.
const rounding = 1e-6

// worthSaying is the share of a total without events above which the Estimate says so.
const worthSaying = 0.02

// share is kerma-area product that one coefficient will be chosen for.
type share struct {
	region     string
	copper     quantity.Opt[quantity.Millimetre]
	fromTotals bool
	kap        quantity.GraySquareMetre
}

// loss is kerma-area product that gets no estimate.
type loss struct {
	kap quantity.GraySquareMetre
	why string
}

// ledger is where the kerma-area product of a procedure went.
type ledger struct {
	shares []share
	lost   []loss
	notes  []string
	// refusal is set when part of the kerma-area product is of unknown size, or all of it is missing.
	refusal string
}

// plane is what events and totals say of one X-ray plane, or of all together when they cannot be told apart.
type plane struct {
	name   string
	events []procedure.Event
	total  quantity.Opt[quantity.GraySquareMetre]
	// disbelieved tells that there is a total that is suspect, partial that the total leaves out a part.
	disbelieved, partial bool
}

// enter sorts the kerma-area product of a procedure by what decides the coefficient. The result does not depend on the
// order of events.
func enter(in Input) ledger {
	var l ledger
	sums := map[share][]quantity.GraySquareMetre{}
	aluminium := false
	for _, p := range planesOf(in.Procedure) {
		for _, ev := range p.events {
			kap, ok := believed(ev.KAP, ev.Suspicion)
			if !ok {
				continue
			}
			copper, guessed := copperOf(ev.Filters)
			aluminium = aluminium || guessed
			key := share{region: regionOf(in, ev), copper: copper}
			sums[key] = append(sums[key], kap)
		}
		l.balance(p, doseRegion(in.Region), sums)
	}
	if aluminium {
		l.notes = append(l.notes, "filters reported without copper among them: counted as no added copper")
	}
	for key, kaps := range sums {
		key.kap = sorted(kaps)
		l.shares = append(l.shares, key)
	}
	slices.SortFunc(l.shares, compareShares)
	if l.refusal == "" && len(l.shares) == 0 && len(l.lost) == 0 {
		l.refusal = "no kerma-area product, neither of events nor in total"
	}
	return l
}

// count is how much of a plane's kerma-area product its events tell.
type count struct {
	events, lacking, suspects int
	sum, suspect              quantity.GraySquareMetre
}

func countOf(events []procedure.Event) count {
	c := count{events: len(events)}
	var good, doubtful []quantity.GraySquareMetre
	for _, ev := range events {
		kap, given := ev.KAP.Get()
		_, ok := believed(ev.KAP, ev.Suspicion)
		switch {
		case ok:
			good = append(good, kap)
		case !given:
			c.lacking++
		default:
			c.suspects++
			if usable(kap) {
				doubtful = append(doubtful, kap)
			}
		}
	}
	c.sum, c.suspect = sorted(good), sorted(doubtful)
	return c
}

// balance sets a plane's total against its events: what the total has more is entered with the region of the procedure,
// or is lost where a suspect event makes the difference doubtful. Where the size of what is missing cannot be known,
// there will be no estimate, as its share might be large.
func (l *ledger) balance(p plane, region string, sums map[share][]quantity.GraySquareMetre) {
	c := countOf(p.events)
	total, known := p.total.Get()
	rest := max(total-c.sum, 0)
	if rest <= total*rounding {
		rest = 0
	}
	if p.disbelieved {
		l.notes = append(l.notes, p.name+": the total of kerma-area product is suspect and not used")
	}
	if !known || p.partial {
		if why := c.open(known); why != "" {
			l.refuse(p.name + ": " + why)
			return
		}
	}
	switch {
	case c.suspects > 0:
		l.lost = append(l.lost, loss{max(rest, c.suspect), fmt.Sprintf("%s: the kerma-area product of %d of %d events is suspect", p.name, c.suspects, c.events)})
	case rest > 0:
		key := share{region: region, fromTotals: true}
		sums[key] = append(sums[key], rest)
		l.note(p, float64(rest/total), c.lacking)
	case c.lacking > 0:
		l.notes = append(l.notes, fmt.Sprintf("%s: %d of %d events have no kerma-area product, and the total has no more than the others", p.name, c.lacking, c.events))
	case known && total < c.sum*(1-worthSaying):
		l.notes = append(l.notes, p.name+": the total of kerma-area product is less than the sum of its events; the sum is used")
	}
}

// open says what keeps the size of a plane's kerma-area product unknown when there is no total, or only a partial one;
// "" when the events tell it all.
func (c count) open(partial bool) string {
	lack := "there is no total that can be believed"
	if partial {
		lack = "the total leaves out a part"
	}
	switch {
	case c.events == 0:
		return "no events, and " + lack
	case c.suspects+c.lacking > 0:
		return fmt.Sprintf("%d of %d events have no kerma-area product that can be believed (%d missing, %d suspect), and %s",
			c.suspects+c.lacking, c.events, c.lacking, c.suspects, lack)
	}
	return ""
}

func (l *ledger) refuse(why string) {
	if l.refusal == "" {
		l.refusal = why
	}
}

// note says how much of a plane's total is counted without events.
func (l *ledger) note(p plane, part float64, lacking int) {
	switch {
	case len(p.events) == 0:
		l.notes = append(l.notes, p.name+": no events; the total of kerma-area product is counted with the region of the procedure, filter unknown")
	case lacking > 0:
		l.notes = append(l.notes, fmt.Sprintf("%s: %d of %d events have no kerma-area product; what the total has more than the others, %s %% of it, is counted with the region of the procedure, filter unknown",
			p.name, lacking, len(p.events), quantity.Significant(100*part, 2)))
	case part > worthSaying:
		l.notes = append(l.notes, fmt.Sprintf("%s: %s %% of the total of kerma-area product is in no event; it is counted with the region of the procedure, filter unknown",
			p.name, quantity.Significant(100*part, 2)))
	}
}

// planesOf pairs events with the total of their plane. Where a plane is unknown, or a total is of all planes, they
// cannot be paired, and everything is one.
func planesOf(p procedure.Procedure) []plane {
	order := []procedure.Plane{procedure.PlaneSingle, procedure.PlaneA, procedure.PlaneB}
	apart := !slices.ContainsFunc(p.Events, func(ev procedure.Event) bool { return !slices.Contains(order, ev.Plane) }) &&
		!slices.ContainsFunc(p.Totals, func(t procedure.PlaneTotal) bool { return !slices.Contains(order, t.Plane) })
	if !apart {
		return togetherOf(p)
	}
	var out []plane
	for _, at := range order {
		one := plane{name: at.String()}
		for _, ev := range p.Events {
			if ev.Plane == at {
				one.events = append(one.events, ev)
			}
		}
		for _, t := range p.Totals {
			if t.Plane == at {
				one.enter(t)
			}
		}
		out = append(out, one.settled()...)
	}
	return out
}

// togetherOf makes all planes one. A total of all planes stands for the sum of the others where it is larger, and knows
// what they lack.
func togetherOf(p procedure.Procedure) []plane {
	sum, overall := plane{name: "all planes", events: p.Events}, plane{}
	for _, t := range p.Totals {
		if t.Plane == procedure.PlaneAll {
			overall.enter(t)
			continue
		}
		sum.enter(t)
		sum.partial = sum.partial || !t.KAP.Present()
	}
	if total, ok := overall.total.Get(); ok && !overall.disbelieved {
		sum.total = quantity.Some(max(total, sum.total.Or(0)))
		sum.partial, sum.disbelieved = overall.partial, false
	}
	return sum.settled()
}

// enter adds a total, or marks it when it is not believed.
func (p *plane) enter(t procedure.PlaneTotal) {
	kap, ok := believed(t.KAP, t.Suspicion)
	if !ok {
		p.disbelieved = p.disbelieved || t.KAP.Present()
		return
	}
	p.total = quantity.Some(p.total.Or(0) + kap)
	p.partial = p.partial || t.Partial.Has(procedure.SuspectKAP)
}

// settled gives the plane unless nothing is known of it; a sum of totals with one that is not believed is no total.
func (p plane) settled() []plane {
	if p.disbelieved {
		p.total = quantity.None[quantity.GraySquareMetre]()
	}
	if len(p.events) == 0 && !p.total.Present() && !p.disbelieved {
		return nil
	}
	return []plane{p}
}

func believed(kap quantity.Opt[quantity.GraySquareMetre], doubt procedure.Suspicion) (quantity.GraySquareMetre, bool) {
	v, ok := kap.Get()
	return v, ok && usable(v) && !doubt.Has(procedure.SuspectKAP)
}

// beyond is more than any case delivers in Gy m2; judgement. It keeps products finite.
const beyond = 1e9

func usable(kap quantity.GraySquareMetre) bool {
	return kap >= 0 && kap <= beyond
}

// sorted sums in rising order, so that the order of events leaves no trace in the last bits.
func sorted(kaps []quantity.GraySquareMetre) quantity.GraySquareMetre {
	slices.Sort(kaps)
	var sum quantity.GraySquareMetre
	for _, k := range kaps {
		sum += k
	}
	return sum
}

// compareShares puts shares in the order of the regions, events before totals, thin copper before thick and unknown.
func compareShares(a, b share) int {
	far := quantity.Millimetre(math.Inf(1))
	last := func(s share) int {
		if s.fromTotals {
			return 1
		}
		return 0
	}
	return cmp.Or(
		cmp.Compare(slices.Index(Regions(), a.region), slices.Index(Regions(), b.region)),
		cmp.Compare(last(a), last(b)),
		cmp.Compare(a.copper.Or(far), b.copper.Or(far)),
	)
}
