package silence

import (
	"slices"
	"time"
)

// The rule. All four are judgement: none is published.
const (
	// Gaps is how many of the newest gaps between days of use make the habit: about a quarter of a room used every day,
	// and longer for one that is used less.
	Gaps = 60
	// FewestGaps is how many gaps a habit wants; with fewer it is not known.
	FewestGaps = 10
	// ShortestWait is the fewest working days without a report that are ever noticed: a room that is used daily is also
	// closed for holidays and for repair.
	ShortestWait = 3
	// Tolerance is how many times the usual longest gap may pass.
	Tolerance = 2
)

// usual is the share of gaps that is no longer than the usual longest gap. The longest of all would let one long closure
// hide the next.
const usual = 0.95

// Verdict is what is known of a device's habit on a day.
type Verdict struct {
	// Known tells whether there were enough days of use for a habit.
	Known bool
	// Usual is the gap, in working days, that 95 % of the last gaps do not exceed; Allowed is the longest wait that is
	// no silence.
	Usual, Allowed int
	// Waited is the number of working days that are over since the last day of use.
	Waited int
	// Since is the first day that was beyond the habit, "" when the device is not silent.
	Since string
}

// Silent tells whether the device has sent nothing for longer than its habit.
func (v Verdict) Silent() bool { return v.Since != "" }

// Judge looks at the days of use of a device (2006-01-02, in any order, repetitions allowed) on the local day today, which
// itself is not over and does not count as missed. Gaps are counted in working days, Monday to Friday; public holidays are
// not known and are what ShortestWait and Tolerance are for. Days that are no dates or lie after today are left out.
func Judge(days []string, today string) Verdict {
	now, err := time.Parse(time.DateOnly, today)
	if err != nil {
		return Verdict{}
	}
	used := read(days, now)
	if len(used) == 0 {
		return Verdict{}
	}
	last := used[len(used)-1]
	v := Verdict{Waited: max(0, working(last, now.AddDate(0, 0, -1)))}
	var gaps []int
	for i := max(1, len(used)-Gaps); i < len(used); i++ {
		gaps = append(gaps, working(used[i-1], used[i]))
	}
	if len(gaps) < FewestGaps {
		return v
	}
	slices.Sort(gaps)
	v.Known = true
	v.Usual = gaps[nearestRank(len(gaps))-1]
	v.Allowed = max(ShortestWait, Tolerance*v.Usual)
	if v.Waited > v.Allowed {
		v.Since = after(last, v.Allowed+1).Format(time.DateOnly)
	}
	return v
}

// nearestRank gives the rank, from 1, of the usual longest among n gaps: the nearest-rank percentile.
func nearestRank(n int) int {
	rank := int(usual * float64(n))
	if float64(rank) < usual*float64(n) {
		rank++
	}
	return max(rank, 1)
}

// read gives the days up to now, sorted, each once.
func read(days []string, now time.Time) []time.Time {
	var used []time.Time
	for _, d := range days {
		if day, err := time.Parse(time.DateOnly, d); err == nil && !day.After(now) {
			used = append(used, day)
		}
	}
	slices.SortFunc(used, time.Time.Compare)
	return slices.Compact(used)
}

// working counts the working days after a day up to and with another; 0 when there is none.
func working(from, to time.Time) int {
	n := 0
	for d := from.AddDate(0, 0, 1); !d.After(to); d = d.AddDate(0, 0, 1) {
		if isWorking(d) {
			n++
		}
	}
	return n
}

// after gives the n-th working day after a day.
func after(from time.Time, n int) time.Time {
	d := from
	for n > 0 {
		d = d.AddDate(0, 0, 1)
		if isWorking(d) {
			n--
		}
	}
	return d
}

func isWorking(d time.Time) bool { return d.Weekday() != time.Saturday && d.Weekday() != time.Sunday }
