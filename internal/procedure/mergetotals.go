package procedure

import (
	"fmt"
	"slices"

	"afterbeam/internal/quantity"
)

// totalField is one quantity of PlaneTotal that adds up, with what one event gives to it.
type totalField struct {
	name string
	bit  Suspicion
	get  func(PlaneTotal) (float64, bool)
	set  func(*PlaneTotal, float64)
	// event gives an event's part; false when it is not known.
	event func(Event) (float64, bool)
}

func fieldOf[T ~float64](name string, bit Suspicion, at func(*PlaneTotal) *quantity.Opt[T], event func(Event) (quantity.Opt[T], bool)) totalField {
	return totalField{
		name: name, bit: bit,
		get: func(t PlaneTotal) (float64, bool) {
			v, ok := at(&t).Get()
			return float64(v), ok
		},
		set: func(t *PlaneTotal, v float64) { *at(t) = quantity.Some(T(v)) },
		event: func(e Event) (float64, bool) {
			v, counts := event(e)
			if !counts {
				return 0, e.Type != EventUnknown
			}
			x, ok := v.Get()
			return float64(x), ok
		},
	}
}

// totalFields lists the quantities of TID 10004 and 10006 that add up over reports.
func totalFields() []totalField {
	fluoro := func(e Event) bool { return e.Type == Fluoroscopy }
	acquired := func(e Event) bool { return e.Type != Fluoroscopy && e.Type != EventUnknown }
	return []totalField{
		fieldOf("air kerma", SuspectKerma,
			func(t *PlaneTotal) *quantity.Opt[quantity.Gray] { return &t.RefKerma },
			func(e Event) (quantity.Opt[quantity.Gray], bool) { return e.RefKerma, true }),
		fieldOf("kerma-area product", SuspectKAP,
			func(t *PlaneTotal) *quantity.Opt[quantity.GraySquareMetre] { return &t.KAP },
			func(e Event) (quantity.Opt[quantity.GraySquareMetre], bool) { return e.KAP, true }),
		fieldOf("fluoroscopy air kerma", 0,
			func(t *PlaneTotal) *quantity.Opt[quantity.Gray] { return &t.FluoroKerma },
			func(e Event) (quantity.Opt[quantity.Gray], bool) { return e.RefKerma, fluoro(e) }),
		fieldOf("fluoroscopy kerma-area product", 0,
			func(t *PlaneTotal) *quantity.Opt[quantity.GraySquareMetre] { return &t.FluoroKAP },
			func(e Event) (quantity.Opt[quantity.GraySquareMetre], bool) { return e.KAP, fluoro(e) }),
		fieldOf("fluoroscopy time", 0,
			func(t *PlaneTotal) *quantity.Opt[quantity.Second] { return &t.FluoroTime },
			func(e Event) (quantity.Opt[quantity.Second], bool) { return e.Technique.Duration, fluoro(e) }),
		fieldOf("acquisition air kerma", 0,
			func(t *PlaneTotal) *quantity.Opt[quantity.Gray] { return &t.AcquisitionKerma },
			func(e Event) (quantity.Opt[quantity.Gray], bool) { return e.RefKerma, acquired(e) }),
		fieldOf("acquisition kerma-area product", 0,
			func(t *PlaneTotal) *quantity.Opt[quantity.GraySquareMetre] { return &t.AcquisitionKAP },
			func(e Event) (quantity.Opt[quantity.GraySquareMetre], bool) { return e.KAP, acquired(e) }),
		fieldOf("acquisition time", 0,
			func(t *PlaneTotal) *quantity.Opt[quantity.Second] { return &t.AcquisitionTime },
			func(e Event) (quantity.Opt[quantity.Second], bool) { return e.Technique.Duration, acquired(e) }),
		fieldOf("frames", 0,
			func(t *PlaneTotal) *quantity.Opt[float64] { return &t.Frames },
			func(e Event) (quantity.Opt[float64], bool) { return quantity.None[float64](), acquired(e) }),
	}
}

// mergeTotals gives the totals of each plane over all reports, quantity by quantity.
//
// What a report totals is told by its events. With E(r) the set of events of report r, on all planes:
//
//   - E(a) within E(b): b repeats a, so only b's total counts. Equal sets: the later report's.
//   - E(a), E(b) disjoint: two runs, the totals add.
//   - E(a), E(b) overlap in part: both add, less the values of the common events where these are known.
//   - Events of the plane that no counting total covers add with their own value; one without a value makes the
//     quantity Partial.
//
// A report without events is told by its scope. Of one accumulation (study, or a step or series by its UID) the latest
// counts; a study, an unknown scope, or an accumulation that other reports list events of, covers the same irradiation
// as these, and the larger counts; other accumulations add.
func mergeTotals(reports []received, events eventMerge) ([]PlaneTotal, []Finding) {
	m := totalsMerge{reports: reports, events: events}
	var totals []PlaneTotal
	for _, plane := range []Plane{PlaneUnknown, PlaneSingle, PlaneA, PlaneB, PlaneAll} {
		if t, ok := m.plane(plane); ok {
			totals = append(totals, t)
		}
	}
	return totals, m.findings
}

type totalsMerge struct {
	reports  []received
	events   eventMerge
	findings []Finding
}

// plane merges the totals of one plane; what does not add up is as the latest report has it.
func (m *totalsMerge) plane(plane Plane) (PlaneTotal, bool) {
	var total PlaneTotal
	found := false
	var suspicion Suspicion
	for i, r := range m.reports {
		if t, ok := totalOf(r, plane); ok {
			total, found = t, true
			if !m.repeated(i) {
				suspicion |= t.Suspicion
			}
		}
	}
	if !found {
		return PlaneTotal{}, false
	}
	total.Suspicion, total.Partial = suspicion, 0
	for _, f := range totalFields() {
		v, partial, ok := m.value(plane, f)
		if !ok {
			continue
		}
		f.set(&total, v)
		if partial {
			total.Partial |= f.bit
		}
	}
	return total, true
}

// repeated tells whether another report lists all events of report i.
func (m *totalsMerge) repeated(i int) bool {
	for j := range m.reports {
		if m.covers(j, i) {
			return true
		}
	}
	return false
}

// covers tells whether report j repeats report i: more events, or the same and later.
func (m *totalsMerge) covers(j, i int) bool {
	a, b := m.events.sets[i], m.events.sets[j]
	return i != j && len(a) > 0 && within(a, b) && (len(b) > len(a) || j > i)
}

func totalOf(r received, plane Plane) (PlaneTotal, bool) {
	k := slices.IndexFunc(r.Planes, func(t PlaneTotal) bool { return t.Plane == plane })
	if k < 0 {
		return PlaneTotal{}, false
	}
	return r.Planes[k], true
}

// value merges one quantity of one plane.
func (m *totalsMerge) value(plane Plane, f totalField) (v float64, partial, ok bool) {
	var withEvents, without []int
	for i, r := range m.reports {
		t, has := totalOf(r, plane)
		if _, known := f.get(t); !has || !known {
			continue
		}
		if len(m.events.sets[i]) > 0 {
			withEvents = append(withEvents, i)
		} else {
			without = append(without, i)
		}
	}
	if len(withEvents) == 0 && len(without) == 0 {
		return 0, false, false
	}
	listed, partial := m.listed(plane, f, withEvents)
	if len(without) == 0 {
		return listed, partial, true
	}
	covered, apart, apartPartial := m.unlisted(plane, f, without)
	v = max(listed, covered) + apart
	return v, partial && listed > covered || apartPartial, true
}

// listed adds the totals of reports that have events, and the events that none of them covers.
func (m *totalsMerge) listed(plane Plane, f totalField, candidates []int) (v float64, partial bool) {
	seen := make(map[int]bool)
	for _, i := range candidates {
		t, _ := totalOf(m.reports[i], plane)
		own, _ := f.get(t)
		if k := slices.IndexFunc(candidates, func(j int) bool { return m.covers(j, i) }); k >= 0 {
			m.compare(plane, f, own, i, candidates[k])
			continue
		}
		common := 0
		for k := range m.events.events {
			if !m.events.sets[i][k] {
				continue
			}
			if e := m.events.events[k]; seen[k] && e.Plane == plane {
				common++
				part, _ := f.event(e)
				own -= part
			}
			seen[k] = true
		}
		if common > 0 {
			m.findings = append(m.findings, Finding{
				Rule: "reports-overlap", Severity: Reduced, Place: m.at(i, plane, f),
				Text: fmt.Sprintf("%d of its events are also in other reports that do not hold all of it: their values were taken off its total", common),
			})
		}
		v += max(own, 0)
		partial = partial || t.Partial.Has(f.bit)
	}
	for k, e := range m.events.events {
		if e.Plane != plane || seen[k] {
			continue
		}
		part, known := f.event(e)
		v += part
		partial = partial || !known
	}
	return v, partial
}

// compare tells of a repeated report whose total is not what the repeating one says.
func (m *totalsMerge) compare(plane Plane, f totalField, own float64, i, by int) {
	t, _ := totalOf(m.reports[by], plane)
	other, _ := f.get(t)
	same := len(m.events.sets[i]) == len(m.events.sets[by])
	switch {
	case same && own != other:
		m.findings = append(m.findings, Finding{
			Rule: "total-amended", Severity: Reduced, Place: m.at(i, plane, f),
			Text: fmt.Sprintf("report %s has the same events and another total: the later counts", m.reports[by].SOPInstanceUID),
		})
	case own > other*1.01: // totals are rounded by up to about 1 %, common practice, no source
		m.findings = append(m.findings, Finding{
			Rule: "total-shrinks", Severity: Reduced, Place: m.at(i, plane, f),
			Text: fmt.Sprintf("report %s holds all its events and more, with a smaller total: that one counts", m.reports[by].SOPInstanceUID),
		})
	}
}

// unlisted adds the totals of reports without events: covered is what the events of other reports may list too, apart
// what lies outside of these.
func (m *totalsMerge) unlisted(plane Plane, f totalField, candidates []int) (covered, apart float64, partial bool) {
	listedBy := make(map[accumulation]bool)
	for i, r := range m.reports {
		if len(m.events.sets[i]) > 0 {
			listedBy[accumulationOf(r, i)] = true
		}
	}
	latest := make(map[accumulation]int)
	var order []accumulation
	for _, i := range candidates {
		a := accumulationOf(m.reports[i], i)
		if _, ok := latest[a]; !ok {
			order = append(order, a)
		}
		latest[a] = i
	}
	var study float64
	for _, a := range order {
		t, _ := totalOf(m.reports[latest[a]], plane)
		own, _ := f.get(t)
		partial = partial || t.Partial.Has(f.bit)
		switch {
		case a.scope == ScopeStudy:
			study = own
		case listedBy[a] || listedBy[accumulation{scope: ScopeStudy}] || a.scope == ScopeUnknown && len(listedBy) > 0:
			covered += own
		default:
			apart += own
		}
	}
	// A study holds its steps and series: only what it says beyond them counts.
	covered = max(covered, study-apart)
	if len(candidates) > 1 || len(listedBy) > 0 {
		last := m.reports[candidates[len(candidates)-1]].SOPInstanceUID
		m.once(Finding{
			Rule: "total-without-events", Severity: Reduced, Place: fmt.Sprintf("report %s / totals of %s", last, plane),
			Text: "reports without events give totals: where they may cover the same irradiation as others the larger counts, else they add",
		})
	}
	return covered, apart, partial
}

// once adds a finding unless it was made for another field of the same totals.
func (m *totalsMerge) once(f Finding) {
	if !slices.Contains(m.findings, f) {
		m.findings = append(m.findings, f)
	}
}

// accumulation is what a total was accumulated over. A step to this point and the whole step are one accumulation.
type accumulation struct {
	scope Scope
	uid   string
}

func accumulationOf(r received, i int) accumulation {
	switch r.Scope {
	case ScopeStudy:
		return accumulation{scope: ScopeStudy}
	case ScopeStep, ScopeToThisPoint:
		return accumulation{ScopeStep, r.ScopeUID}
	case ScopeSeries, ScopeEvent:
		return accumulation{r.Scope, r.ScopeUID}
	case ScopeUnknown:
	}
	return accumulation{ScopeUnknown, fmt.Sprint(i)}
}

func (m *totalsMerge) at(i int, plane Plane, f totalField) string {
	return fmt.Sprintf("report %s / totals of %s / %s", m.reports[i].SOPInstanceUID, plane, f.name)
}
