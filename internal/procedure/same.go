package procedure

import "slices"

// SameDoses tells whether two procedures say the same about dose: equal events, wherever they were said, and equal
// totals.
func SameDoses(a, b Procedure) bool {
	return slices.EqualFunc(a.Events, b.Events, func(x, y Event) bool { return eventPrint(x) == eventPrint(y) }) &&
		slices.EqualFunc(a.Totals, b.Totals, func(x, y PlaneTotal) bool { return fingerprint(x) == fingerprint(y) })
}
