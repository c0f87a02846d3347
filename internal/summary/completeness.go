package summary

import (
	"maps"
	"slices"

	"afterbeam/internal/quantity"
)

// recorded tells whether Ka,r, KAP and fluoroscopy time of a case are each there, whole and believed.
func recorded(c *Case) answer {
	for _, m := range []measure{measureKerma(), measureKAP(), measureTime()} {
		if _, left := m.of(c); left != "" {
			return no
		}
	}
	return yes
}

// arrived tells whether the report of a performed procedure came.
func arrived(p Performed) answer {
	if p.Excluded || p.Pending {
		return aside
	}
	return answered(p.Arrived)
}

func (w *work) completeness() Completeness {
	c := Completeness{Records: tallied(w.now, recorded).against(tallied(w.before, recorded)), Quantities: []QuantityKnown{}, ByRoom: []RoomComplete{}}
	for _, m := range classMeasures() {
		s := sample{}
		known := 0
		for _, one := range w.now {
			if _, left := m.of(one); left != "" {
				s.leave(left)
			} else {
				known++
			}
		}
		c.Quantities = append(c.Quantities, QuantityKnown{Quantity: m.name, Known: tally{x: known, n: len(w.now)}.proportion(), LeftOut: s.leftOut()})
	}
	now, before := tally{}, tally{}
	missing, rooms := map[string]int{}, map[string]*tally{}
	for _, p := range w.performed {
		a := arrived(p)
		switch {
		case w.in.Period.Before().Holds(p.Day):
			before.count(a)
			continue
		case !w.in.Period.Holds(p.Day):
			continue
		case p.Excluded:
			c.Excluded++
		case p.Pending:
			c.Pending++
		}
		now.count(a)
		if a == no {
			missing[p.Why]++
		}
		if rooms[p.Room] == nil {
			rooms[p.Room] = &tally{}
		}
		rooms[p.Room].count(a)
	}
	c.Missing = reasonsOf(missing)
	if now.n > 0 {
		arrival := now.against(before)
		c.Arrival = &arrival
	} else {
		c.ArrivalAbsent = "no-performed-procedures"
	}
	c.ByRoom = w.byRoom(rooms)
	return c
}

func (w *work) byRoom(arrivals map[string]*tally) []RoomComplete {
	records := map[string]*tally{}
	for _, c := range w.now {
		if records[c.Room] == nil {
			records[c.Room] = &tally{}
		}
		records[c.Room].count(recorded(c))
	}
	names := slices.Collect(maps.Keys(records))
	names = append(names, slices.Collect(maps.Keys(arrivals))...)
	slices.Sort(names)
	out := []RoomComplete{}
	for _, room := range slices.Compact(names) {
		one := RoomComplete{Room: room, Records: tally{}.proportion()}
		if t := records[room]; t != nil {
			one.Records = t.proportion()
		}
		if t := arrivals[room]; t != nil && t.n > 0 {
			arrival := t.proportion()
			one.Arrival = &arrival
		}
		out = append(out, one)
	}
	return out
}

// volume counts the cases of the period and of the one before by each property.
func (w *work) volume() []Volume {
	out := []Volume{}
	both := slices.Concat(w.now, w.before)
	ofClass := parting{"class", func(c *Case, keys []groupKey) []groupKey { return append(keys, named(classOf(c.Class))) }}
	for _, p := range append([]parting{ofClass}, partings()...) {
		if p.by == byOperator { // here without the complexity that tables of operators have
			p.of = func(c *Case, keys []groupKey) []groupKey {
				for _, operator := range operatorsOf(c) {
					keys = append(keys, named(operator))
				}
				return keys
			}
		}
		keys, places, _ := keysOf(both, p)
		counts := make([][2]int, len(keys))
		for i, groups := range places {
			period := 0
			if i >= len(w.now) {
				period = 1
			}
			for _, g := range groups {
				counts[g][period]++
			}
		}
		for i, k := range keys {
			v := Volume{By: p.by, Key: k.key, Title: k.title, Cases: counts[i][0], Before: counts[i][1]}
			if p.by == "class" {
				v.Title = titleOf(k.key)
			}
			if p.by != byOperator && len(w.now) > 0 {
				v.Share = quantity.Some(float64(v.Cases) / float64(len(w.now)))
			}
			out = append(out, v)
		}
	}
	return out
}
