package procedure

import "slices"

// SameDoses tells whether two procedures say the same about dose: equal events, wherever they were said, and equal
// totals.
func SameDoses(a, b Procedure) bool {
	return slices.EqualFunc(a.Events, b.Events, func(x, y Event) bool { return eventPrint(x) == eventPrint(y) }) &&
		slices.EqualFunc(a.Totals, b.Totals, func(x, y PlaneTotal) bool { return fingerprint(x) == fingerprint(y) })
}

// CompareEvents counts the events that two lists of one procedure do not have in common: those only now has, those that
// say other things than before, and those only before had. An event is known by UID and plane; one without a UID by all
// it says.
func CompareEvents(before, now []Event) (added, changed, gone int) {
	type key struct {
		uid   string
		plane Plane
	}
	index := func(events []Event) map[key]string {
		prints := make(map[key]string, len(events))
		for _, e := range events {
			k, print := key{e.UID, e.Plane}, eventPrint(e)
			if e.UID == "" {
				k.uid = print
			}
			prints[k] = print
		}
		return prints
	}
	was, is := index(before), index(now)
	for k, print := range is {
		old, known := was[k]
		switch {
		case !known:
			added++
		case old != print:
			changed++
		}
	}
	for k := range was {
		if _, known := is[k]; !known {
			gone++
		}
	}
	return added, changed, gone
}
