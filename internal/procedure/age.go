package procedure

import "math"

// monthsBelow is the age in years below which months are told: coefficients of children change by up to a fifth within
// a year. Judgement.
const monthsBelow = 16

// ToldAge gives an age as it is kept and estimated with: whole years, below 16 years whole months. A finer one beside the
// date of a procedure would give the birth date away. Rounding twice changes nothing.
func ToldAge(years float64) float64 {
	unit := 1.0
	if years < monthsBelow {
		unit = 12
	}
	// The margin keeps an age that is already whole months from falling to the month before.
	return math.Floor(years*unit+1e-6) / unit
}
