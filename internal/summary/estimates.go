package summary

import (
	"cmp"
	"maps"
	"slices"

	"afterbeam/internal/quantity"
)

// unsaid stands for a reason that nobody gave.
const unsaid = "unsaid"

// estimates tells how often skin and effective dose could be estimated, and why not.
func (w *work) estimates() Estimates {
	psd := func(c *Case) answer { return answered(c.PSD.Present()) }
	effective := func(c *Case) answer { return answered(c.Effective.Present()) }
	e := Estimates{
		PSD:       tallied(w.now, psd).against(tallied(w.before, psd)),
		Effective: tallied(w.now, effective).against(tallied(w.before, effective)),
	}
	none, how, noneOfE := map[string]int{}, map[string]int{}, map[string]int{}
	for _, c := range w.now {
		if c.PSD.Present() {
			how[cmp.Or(c.PSDMethod, unsaid)]++
		} else {
			none[cmp.Or(c.PSDNone, unsaid)]++
		}
		if !c.Effective.Present() {
			noneOfE[cmp.Or(c.EffectiveNone, unsaid)]++
		}
	}
	e.PSDNone, e.PSDMethods, e.EffectiveNone = reasonsOf(none), reasonsOf(how), reasonsOf(noneOfE)
	return e
}

// apart sums up children by class and weight, and lists them and the pregnant patients.
func (w *work) apart() Apart {
	a := Apart{ByWeight: []WeightBand{}, PerWeight: perWeight()}
	type place struct {
		class string
		band  int
	}
	now, before := map[place][]*Case{}, map[place][]*Case{}
	for _, c := range w.now {
		if w.child(c) {
			k := place{classOf(c.Class), bandOf(c)}
			now[k] = append(now[k], c)
		}
	}
	for _, c := range w.before {
		if w.child(c) {
			k := place{classOf(c.Class), bandOf(c)}
			before[k] = append(before[k], c)
		}
	}
	places := slices.SortedFunc(maps.Keys(now), func(x, y place) int { return cmp.Or(cmp.Compare(x.class, y.class), cmp.Compare(x.band, y.band)) })
	edges := weightEdges()
	for _, k := range places {
		b := WeightBand{Class: k.class, Title: titleOf(k.class), Group: groupOf(k.class, titleOf(k.class), len(now[k]))}
		if k.band < len(edges) {
			b.From = quantity.Some(edges[k.band])
		}
		if k.band+1 < len(edges) {
			b.To = quantity.Some(edges[k.band+1])
		}
		for _, m := range []measure{measureKAP(), measureKAPByWeight(), measureKerma(), measureTime()} {
			all := func(int) bool { return true }
			b.Group.Statistics = append(b.Group.Statistics, w.statisticOf(m, columnOf(m, now[k]).where(all), columnOf(m, before[k]).where(all)))
		}
		rate := tallied(now[k], substantialOf).proportion()
		b.Group.Substantial = &rate
		a.ByWeight = append(a.ByWeight, b)
	}
	whose := func(lines []CaseLine, cases []*Case) []CaseLine {
		at := map[string]*Case{}
		for _, c := range cases {
			at[c.ID] = c
		}
		for i := range lines {
			c := at[lines[i].ID]
			lines[i].Age, lines[i].Weight = c.Age, plain(c.Weight)
		}
		return lines
	}
	a.Children = whose(linesOf(w.now, w.child), w.now)
	a.Pregnant = whose(linesOf(w.now, func(c *Case) bool { return c.Pregnant }), w.now)
	return a
}

// weightEdges are the lower edges of the bands of weight in kg. Source: European Commission, Radiation Protection 185
// (2018), bands of examinations of the trunk (memory).
func weightEdges() []float64 { return []float64{0, 5, 15, 30, 50, 80} }

// bandOf gives the band of a case's weight; without a weight the one after the last.
func bandOf(c *Case) int {
	weight, known := c.Weight.Get()
	edges := weightEdges()
	if !known || !(weight > 0) {
		return len(edges)
	}
	band := 0
	for i, from := range edges {
		if float64(weight) >= from {
			band = i
		}
	}
	return band
}

// perWeight is what was published of KAP by weight of children in heart catheterisation.
func perWeight() []PerWeight {
	const source = "Kiel 2007, KAP by weight in paediatric cardiology (PubMed 16916806)"
	return []PerWeight{
		{Procedure: "paediatric cardiology, diagnostic", Mean: 0.41, P90: 0.81, Source: source, Known: "read"},
		{Procedure: "paediatric cardiology, interventional", Mean: 0.56, P90: 1.16, Source: source, Known: "read"},
	}
}
