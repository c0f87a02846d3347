package summary

import (
	"maps"
	"slices"
	"strings"
	"time"

	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/summary/statistic"
)

const unclassified = lexicon.Unclassified

// classOf gives the class that a case counts as: one that the lexicon does not know is unclassified.
func classOf(class string) string {
	if class == "" {
		return unclassified
	}
	return class
}

func titleOf(class string) string {
	if class == "" || class == unclassified {
		return lexicon.ClassOf(unclassified).Title
	}
	if !lexicon.Known(class) {
		return class
	}
	return lexicon.ClassOf(class).Title
}

// byClass parts cases by class.
func byClass(cases []*Case) map[string][]*Case {
	out := map[string][]*Case{}
	for _, c := range cases {
		out[classOf(c.Class)] = append(out[classOf(c.Class)], c)
	}
	return out
}

// classes gives the classes that the period has a case of, in the order of their names.
func (w *work) classes() []Class {
	now, before := byClass(w.adults), byClass(w.adultsBefore)
	from := w.yearFrom()
	year := byClass(w.adultsSince(from))
	out := []Class{}
	for _, class := range slices.Sorted(maps.Keys(now)) {
		c := w.class(class, now[class], before[class])
		if len(year[class]) > len(now[class]) {
			c.Year = w.classYear(class, from, year[class])
		}
		out = append(out, c)
	}
	return out
}

// yearFrom gives the first of the twelve months that end with the period, not before the history; "" for a longer period.
func (w *work) yearFrom() string {
	last, err := time.Parse(time.DateOnly, w.in.Period.To)
	if err != nil || w.in.Period.Kind == Year || w.in.Period.Kind == Years {
		return ""
	}
	return max(time.Date(last.Year(), last.Month()-11, 1, 0, 0, 0, 0, time.UTC).Format(time.DateOnly), w.in.History)
}

// adultsSince gives the adults from a day to the end of the period, none without a day.
func (w *work) adultsSince(from string) []*Case {
	out := []*Case{}
	for _, c := range w.all {
		if from != "" && c.Day >= from && c.Day <= w.in.Period.To && !w.child(c) && !c.Pregnant {
			out = append(out, c)
		}
	}
	return out
}

func (w *work) classYear(class, from string, cases []*Case) *ClassYear {
	y := ClassYear{From: from, To: w.in.Period.To, Cases: len(cases)}
	t := table{w: w, measures: classMeasures(), now: cases}
	for _, m := range t.measures {
		t.columns = append(t.columns, columnOf(m, cases))
	}
	y.Positions, y.Distributions, y.Withheld = w.compared(class, t)
	return &y
}

func (w *work) class(class string, now, before []*Case) Class {
	c := Class{Class: class, Title: titleOf(class), Parts: []Part{}}
	measures := classMeasures()
	columns, columnsBefore := make([]column, len(measures)), make([]column, len(measures))
	for i, m := range measures {
		columns[i], columnsBefore[i] = columnOf(m, now), columnOf(m, before)
	}
	t := table{w: w, measures: measures, now: now, before: before, columns: columns, columnsBefore: columnsBefore}
	c.All = t.groups(parting{by: "all", of: func(_ *Case, keys []groupKey) []groupKey { return append(keys, groupKey{key: class}) }})[0]
	c.All.Title = c.Title
	if c.All.Show == statistic.ShowList {
		for _, one := range now {
			c.All.List = append(c.All.List, lineOf(one))
		}
	}
	for _, p := range partings() {
		groups := t.groups(p)
		if len(groups) > 1 || p.by == byOperator && len(groups) == 1 {
			c.Parts = append(c.Parts, Part{By: p.by, Groups: groups})
		}
	}
	c.Positions, c.Distributions, c.Withheld = w.compared(class, t)
	return c
}

// groupKey names a group of a parting: order is what groups are sorted by.
type groupKey struct{ order, key, title, complexity string }

// parting parts cases by one property. A case may be in several groups, whose keys are appended.
type parting struct {
	by string
	of func(*Case, []groupKey) []groupKey
}

const (
	byOperator = "operator"
	unknownKey = "unknown"
)

func partings() []parting {
	one := func(of func(*Case) groupKey) func(*Case, []groupKey) []groupKey {
		return func(c *Case, keys []groupKey) []groupKey { return append(keys, of(c)) }
	}
	return []parting{
		{"complexity", one(func(c *Case) groupKey { return named(c.Complexity) })},
		{"mount", one(func(c *Case) groupKey { return named(mountOf(c)) })},
		{"room", one(func(c *Case) groupKey { return named(c.Room) })},
		{"device", one(func(c *Case) groupKey {
			k := named(c.Device)
			if c.DeviceName != "" {
				k.title = c.DeviceName
			}
			return k
		})},
		{byOperator, func(c *Case, keys []groupKey) []groupKey {
			for _, operator := range operatorsOf(c) {
				k := named(operator)
				k.complexity = c.Complexity
				k.order += "\x00" + c.Complexity
				keys = append(keys, k)
			}
			return keys
		}},
		{"size", one(sizeOf)},
	}
}

// operatorsOf gives the operators of a case, each once.
func operatorsOf(c *Case) []string {
	if len(c.Operators) < 2 || len(c.Operators) == 2 && c.Operators[0] != c.Operators[1] {
		return c.Operators
	}
	return slices.Compact(slices.Sorted(slices.Values(c.Operators)))
}

// named gives the key of a name; what has none comes last.
func named(name string) groupKey {
	if strings.TrimSpace(name) == "" {
		return groupKey{order: "\uffff", key: unknownKey, title: unknownKey}
	}
	return groupKey{order: name, key: name, title: name}
}

func mountOf(c *Case) string {
	if c.Mobile {
		return "mobile"
	}
	return "fixed"
}

// sizeOf gives the band of the body mass index. Source: World Health Organization, Technical Report Series 894 (2000)
// (memory).
func sizeOf(c *Case) groupKey {
	weight, hasWeight := c.Weight.Get()
	height, hasHeight := c.Height.Get()
	if !hasWeight || !hasHeight || !(weight > 0) || !(height > 0) {
		return named("")
	}
	metres := float64(height) / millimetrePerMetre
	index := float64(weight) / (metres * metres)
	for i, edge := range []struct {
		below float64
		key   string
	}{{18.5, "bmi-below-18.5"}, {25, "bmi-18.5-25"}, {30, "bmi-25-30"}, {35, "bmi-30-35"}, {40, "bmi-35-40"}} {
		if index < edge.below {
			return groupKey{order: string(rune('0' + i)), key: edge.key, title: edge.key}
		}
	}
	return groupKey{order: "9", key: "bmi-from-40", title: "bmi-from-40"}
}

// table is the cases of a class with its quantities in columns.
type table struct {
	w                      *work
	measures               []measure
	now, before            []*Case
	columns, columnsBefore []column
}

// groups gives the groups of a parting in the order of their keys, never of their doses.
func (t table) groups(p parting) []Group {
	keys, places, sizes := keysOf(t.now, p)
	at := map[string]int{}
	for i, k := range keys {
		at[k.order] = i
	}
	placesBefore := make([][]int, len(t.before))
	var of []groupKey
	for i, c := range t.before {
		of = p.of(c, of[:0])
		for _, k := range of {
			if g, there := at[k.order]; there {
				placesBefore[i] = append(placesBefore[i], g)
			}
		}
	}
	groups, rates := make([]Group, len(keys)), make([]tally, len(keys))
	for i, k := range keys {
		groups[i] = groupOf(k.key, k.title, sizes[i])
		groups[i].Complexity = k.complexity
	}
	for i, c := range t.now {
		for _, g := range places[i] {
			rates[g].count(substantialOf(c))
		}
	}
	for i, m := range t.measures {
		now, before := t.columns[i].parted(places, len(keys)), t.columnsBefore[i].parted(placesBefore, len(keys))
		for g := range groups {
			if fit := p.fit(&groups[g]); fit {
				groups[g].Statistics = append(groups[g].Statistics, t.w.statisticOf(m, now[g], before[g]))
			}
		}
	}
	for g := range groups {
		if p.fit(&groups[g]) {
			rate := rates[g].proportion()
			groups[g].Substantial = &rate
		} else {
			groups[g].Withheld = append(groups[g].Withheld, p.why(&groups[g]))
		}
	}
	return groups
}

// fit tells whether a group may be summed up: operators only with 20 cases of one known complexity.
func (p parting) fit(g *Group) bool {
	return p.by != byOperator || g.Cases >= statistic.LeastOperator && g.Complexity != ""
}

func (p parting) why(g *Group) Withheld {
	if g.Complexity == "" {
		return Withheld{What: "statistics", Reason: withheldComplexity}
	}
	return Withheld{What: "statistics", Reason: withheldOperator, Need: statistic.LeastOperator}
}

// keysOf gives the groups of cases in order, the places of each case among them, and their sizes.
func keysOf(cases []*Case, p parting) (keys []groupKey, places [][]int, sizes []int) {
	places = make([][]int, len(cases))
	seen := map[string]int{} // by order, in that of their coming
	flat := make([]int, 0, len(cases))
	var found, of []groupKey
	for i, c := range cases {
		of = p.of(c, of[:0])
		from := len(flat)
		for _, k := range of {
			at, there := seen[k.order]
			switch {
			case !there:
				at = len(found)
				seen[k.order], found = at, append(found, k)
			case k.title < found[at].title: // of a device with several names
				found[at].title = k.title
			}
			flat = append(flat, at)
		}
		places[i] = flat[from:len(flat):len(flat)]
	}
	rank := make([]int, len(found))
	for i, order := range slices.Sorted(maps.Keys(seen)) {
		rank[seen[order]] = i
		keys = append(keys, found[seen[order]])
	}
	sizes = make([]int, len(keys))
	for _, of := range places {
		for j, at := range of {
			of[j] = rank[at]
			sizes[rank[at]]++
		}
	}
	return keys, places, sizes
}
