package table

import "time"

// Parts opens a value for tests: its text, number, time, and whether it is there.
func Parts(v Value) (text string, number float64, at time.Time, there bool) {
	return clean(v.text), v.number, v.time, v.there
}
