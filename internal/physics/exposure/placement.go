package exposure

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// axis is one direction of table motion, seen by the table.
type axis int

const (
	left axis = iota
	down
	head
	directions
)

// meaning is the profile's word for the axis.
func (a axis) meaning() procedure.AxisMeaning {
	return [directions]procedure.AxisMeaning{procedure.AxisTableLeft, procedure.AxisTableDown, procedure.AxisTableHead}[a]
}

// unit is the axis in room directions of a table that is neither rotated nor tilted.
func (a axis) unit() r3.Vec {
	return [directions]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}[a]
}

// position is where the table stood in one direction.
type position struct {
	start, end float64
	known      bool // the number's meaning and sign are known
	zero       bool // and its zero is the isocentre
}

// positions are where the table stood in an event.
type positions [directions]position

// positionsOf reads the table of an event: rows in the isocentre system where the report has them (PS3.16 128766 to
// 128771), else the arbitrary positions as the profile explains them.
func (t *tracer) positionsOf(e *procedure.Event) positions {
	m := &e.Mechanics
	var out positions
	type reported struct {
		start, end quantity.Opt[quantity.Millimetre]
	}
	isocentric := [directions]reported{{m.TableX, m.TableXEnd}, {m.TableY, m.TableYEnd}, {m.TableZ, m.TableZEnd}}
	explained := []struct {
		axis procedure.TableAxis
		at   reported
	}{
		{t.profile.Longitudinal, reported{m.TableLongitudinal, m.TableLongitudinalEnd}},
		{t.profile.Lateral, reported{m.TableLateral, m.TableLateralEnd}},
		{t.profile.Height, reported{m.TableHeight, m.TableHeightEnd}},
	}
	for a := range directions {
		if start, end, ok := stand(isocentric[a].start, isocentric[a].end); ok {
			out[a] = position{start, end, true, true}
			continue
		}
		if t.isocentric[a] {
			continue
		}
		for _, x := range explained {
			start, end, ok := stand(x.at.start, x.at.end)
			if !ok || x.axis.Meaning != a.meaning() || x.axis.Sign*x.axis.Sign != 1 {
				continue
			}
			zero, _, zeroed := stand(x.axis.Zero, x.axis.Zero)
			sign := float64(x.axis.Sign)
			out[a] = position{sign * (start - zero), sign * (end - zero), true, zeroed}
		}
	}
	if turn, turned := tableRows(m); turned {
		return turnedPositions(out, turn)
	}
	return out
}

// farthest is the largest table position that is believed, in mm; judgement: no table stands 10 m off.
const farthest = 1e4

// stand gives a position and its end, the same where there is none; one that is not believed counts as absent.
func stand(at, to quantity.Opt[quantity.Millimetre]) (start, end float64, ok bool) {
	v, ok := at.Get()
	start, end = float64(v), float64(to.Or(v))
	if !finite(end, farthest) {
		end = start
	}
	if !ok || !finite(start, farthest) {
		return 0, 0, false
	}
	return start, end, true
}

// plan is what is found out about the table over the whole procedure before any event is placed.
type plan struct {
	sites []string // place of the body imaged in each event, "" unknown
	// byClass counts the events that have no target region of their own to say so.
	byClass int
	// mean is the kerma-weighted mean position across and along of the events of one site; height is that of all.
	mean   map[string][directions]float64
	height float64
	// top is the kerma-weighted mean depth of the table top under the isocentre from distances source to table.
	top   quantity.Opt[float64]
	grain grain
}

// prepare looks over all events: eq. (5.17) needs the mean position of the table.
func (t *tracer) prepare() {
	for i := range t.procedure.Events {
		m := &t.procedure.Events[i].Mechanics
		for a, x := range [directions]quantity.Opt[quantity.Millimetre]{m.TableX, m.TableY, m.TableZ} {
			t.isocentric[a] = t.isocentric[a] || x.Present()
		}
	}
	t.plan.grain = t.grainOf()
	t.plan.mean = map[string][directions]float64{}
	sums := map[string]*[directions]weighted{}
	var height, top weighted
	for i := range t.procedure.Events {
		e := &t.procedure.Events[i]
		site, own := t.siteOf(e)
		if !own {
			t.plan.byClass++
		}
		t.plan.sites = append(t.plan.sites, site)
		if sums[site] == nil {
			sums[site] = &[directions]weighted{}
		}
		weight := float64(e.RefKerma.Or(0))
		for a, p := range t.positionsOf(e) {
			switch middle := (p.start + p.end) / 2; {
			case p.known && axis(a) == down:
				height.add(middle, weight)
			case p.known:
				sums[site][a].add(middle, weight)
			}
		}
		if depth, ok := t.tableTop(e); ok {
			top.add(depth, weight)
		}
	}
	for site, s := range sums {
		t.plan.mean[site] = [directions]float64{left: s[left].mean(), head: s[head].mean()}
	}
	t.plan.height = height.mean()
	if top.n > 0 {
		t.plan.top = quantity.Some(top.mean())
	}
}

// weighted is a mean by weights, or a plain one when there is no weight at all.
type weighted struct{ sum, weight, plain, n float64 }

func (w *weighted) add(v, weight float64) {
	if weight > 0 && !math.IsInf(weight, 0) {
		w.sum, w.weight = w.sum+v*weight, w.weight+weight
	}
	w.plain, w.n = w.plain+v, w.n+1
}

func (w *weighted) mean() float64 {
	switch {
	case w.weight > 0:
		return w.sum / w.weight
	case w.n > 0:
		return w.plain / w.n
	}
	return 0
}

// siteOf is the place of the body an event images: its own, by target region or anatomy, else by the procedure's class.
func (t *tracer) siteOf(e *procedure.Event) (site string, own bool) {
	if t.eventSite != nil {
		for _, code := range [2]procedure.Code{e.Target, e.Anatomy} {
			if code.IsZero() {
				continue
			}
			if place, ok := t.eventSite(code); ok {
				if _, known := t.body.Site(place); known {
					return place, true
				}
			}
		}
	}
	return t.site, false
}

// tableTop is the depth of the table top under the isocentre from the distance source to table, for a tube within 10
// degrees of straight under the table, eq. (5.16).
func (t *tracer) tableTop(e *procedure.Event) (float64, bool) {
	d, ok := positive(e.Mechanics.SourceToTable)
	primary, hasPrimary := e.Mechanics.Primary.Get()
	if !ok || !hasPrimary || e.Suspicion&(procedure.SuspectDistance|procedure.SuspectAngle) != 0 {
		return 0, false
	}
	m, ok := t.lieOf(e).rows()
	if !ok {
		return 0, false
	}
	toward := beamAxes(float64(primary), float64(e.Mechanics.Secondary.Or(0))).toward
	table, _ := tableRows(&e.Mechanics)
	up := -r3.Dot(toward, table.P)
	if t.frame == procedure.FramePatient {
		up = -r3.Dot(toward, m.of(r3.Vec{Y: 1}))
	}
	if up < math.Cos(10*math.Pi/180) {
		return 0, false
	}
	isocentre, known := positive(e.Mechanics.SourceToIsocentre)
	if !known {
		if isocentre, known = positive(t.profile.SourceToIsocentre); !known {
			return 0, false // two distances from the focus make a height, one does not
		}
	}
	return float64(isocentre-d) * up, true
}

// place is where the patient lies in the beam during an event.
type place struct {
	isocentre r3.Vec // in body axes, at the start
	step      r3.Vec // how far the isocentre moves in body axes until the end
	rest      float64
	table     *Table
	top       plane
}

// placeOf puts the isocentre into the body, eq. (5.16) and (5.17).
func (t *tracer) placeOf(i int, e *procedure.Event, l lie, m rows) place {
	site := t.plan.sites[i]
	centre := t.sitePoint(e, site)
	at := t.positionsOf(e)
	if _, turned := tableRows(&e.Mechanics); turned {
		t.assume("table tilted or rotated: patient and table are carried together, at the reported angles (PS3.3 C.8.19.6.13)")
	}
	mean := t.plan.mean[site]
	var out place
	for a := range directions {
		unit := m.of(a.unit())
		p := at[a]
		out.step = r3.Sub(out.step, r3.Scale(p.end-p.start, unit))
		switch {
		case p.zero && a == left:
			// The patient is taken to lie on the table's midline.
			centre = r3.Add(centre, r3.Scale(-p.start-r3.Dot(centre, unit), unit))
		case p.known && a != down:
			centre = r3.Sub(centre, r3.Scale(p.start-mean[a], unit))
		}
	}
	centre.Z += t.offset()
	out.rest = resting(t.body, centre.Z, l.sideways())
	under := m.of(r3.Vec{Y: 1})
	centre = r3.Add(centre, r3.Scale(t.depth(e, at[down], out.rest, r3.Dot(centre, under)), under))
	out.isocentre = centre
	t.judge(at)
	out.table = t.slab(m, out.rest)
	out.top = plane{under, out.rest + float64(t.mattress()), true}
	return out
}

// placeWithoutTable puts the isocentre into a body that does not lie on the table in a way geometry has a rule for.
func (t *tracer) placeWithoutTable(i int, e *procedure.Event) place {
	centre := t.sitePoint(e, t.plan.sites[i])
	centre.Z += t.offset()
	t.judge(positions{})
	return place{isocentre: centre}
}

// offset is how far people moved the place along the body.
func (t *tracer) offset() float64 {
	offset, ok := t.facts.TableOffset.Get()
	if !finite(float64(offset), farthest) {
		return 0
	}
	if ok && offset != 0 {
		t.notes.say("place along the body moved by the offset a person gave")
	}
	return float64(offset)
}

// judge notes how well the table's motion is known.
func (t *tracer) judge(at positions) {
	t.now.related = at[left].known && at[head].known
	t.now.fixed = at[left].zero && t.now.height && at[head].zero
	if !t.now.related {
		t.assume("table motion across or along the patient not known: every event of one place at the same point (judgement)")
	} else if !t.now.fixed {
		t.assume("only relative table motion known: the kerma-weighted mean position at the place imaged (judgement)")
	}
}

// depth is how far along down the isocentre moves from where it stands before, now. The skin on the table is one
// mattress above the table top, and the body's axis one resting depth above that.
func (t *tracer) depth(e *procedure.Event, height position, rest, now float64) float64 {
	top, ok := height.start, height.zero
	if !ok {
		if top, ok = t.tableTop(e); !ok {
			if top, ok = t.plan.top.Get(); ok {
				t.assume("table height only known from the distance source to table of other events: their mean (judgement)")
			}
		}
	}
	if ok {
		t.now.height = true
		return float64(t.mattress()) + rest - top - now
	}
	t.assume("table height not known against the isocentre: the patient's mid-plane at the isocentre (judgement)")
	if height.known {
		return t.plan.height - height.start
	}
	return 0
}

// mattress is its compressed thickness, table top to skin.
func (t *tracer) mattress() quantity.Millimetre {
	if d, ok := t.profile.MattressThickness.Get(); ok && d >= 0 && d <= thickestMattress {
		return d
	}
	t.notes.say("mattress thickness unknown: 30 mm where the table height counts (judgement)")
	return defaultMattress
}

// sitePoint is the point of the body at the isocentre for a place.
func (t *tracer) sitePoint(e *procedure.Event, site string) r3.Vec {
	point, ok := t.body.Site(site)
	t.now.sited = ok
	if !ok {
		t.assume("place along the body unknown: the middle of the trunk at the isocentre (judgement)")
		return r3.Vec{Z: t.body.Dimensions.TrunkHeight / 2}
	}
	if site == "lower_limb" {
		// Judgement: the beam is centred on one leg.
		half := t.body.HalfDepth(point.Z)
		if e.Side.Is("7771000", "SCT") || e.Side.Is("G-A101", "SRT") {
			point.X = half
		} else {
			point.X = -half
			if !e.Side.Is("24028007", "SCT") && !e.Side.Is("G-A100", "SRT") {
				t.assume("side of the leg not given: the right leg (judgement; the dose is the same)")
			}
		}
	}
	t.notes.say(fmt.Sprintf("place along the body by target region or procedure class: %s at the isocentre (judgement)", strings.ReplaceAll(site, "_", " ")))
	return point
}

// turnedPositions brings positions against the isocentre into the axes of a turned table; relative ones stay, as they
// hold only while the table does not turn.
func turnedPositions(at positions, turn rows) positions {
	for a := range directions {
		if !at[a].known || !at[a].zero {
			return at
		}
	}
	start := turn.of(r3.Vec{X: at[left].start, Y: at[down].start, Z: at[head].start})
	end := turn.of(r3.Vec{X: at[left].end, Y: at[down].end, Z: at[head].end})
	at[left].start, at[down].start, at[head].start = start.X, start.Y, start.Z
	at[left].end, at[down].end, at[head].end = end.X, end.Y, end.Z
	return at
}
