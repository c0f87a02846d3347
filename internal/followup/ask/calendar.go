package ask

import "time"

// addDays gives the local date so many days after another; "" when that is no date.
func addDays(day string, n int, working bool) string {
	at, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return ""
	}
	if !working {
		return at.AddDate(0, 0, n).Format(time.DateOnly)
	}
	for n > 0 {
		at = at.AddDate(0, 0, 1)
		if at.Weekday() != time.Saturday && at.Weekday() != time.Sunday {
			n--
		}
	}
	return at.Format(time.DateOnly)
}

// DaysBetween counts calendar days from one local date to another; 0 when one of them is no date.
func DaysBetween(from, to string) int {
	a, err1 := time.Parse(time.DateOnly, from)
	b, err2 := time.Parse(time.DateOnly, to)
	if err1 != nil || err2 != nil {
		return 0
	}
	return int(b.Sub(a) / (24 * time.Hour)) // both are midnight in UTC
}
