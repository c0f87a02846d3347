package demo

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"
)

// The year of the centre, from its first day to its last.
const (
	YearFrom = "2025-11-01"
	YearTo   = "2026-10-31"
)

// CommitteeDay is the day on which a committee of the centre looks at October 2026; the year is told up to its eve.
const CommitteeDay = "2026-11-04"

// visit is one case of the year before its patient and its doses are drawn.
type visit struct {
	kind    kind
	pattern pattern
	word    string
	start   time.Time
	minutes float64
	// g is what the doses of a case have in common, in standard deviations; size is the part of it that the patient's size makes.
	g, size float64
	// rank is the place within its class and month, from 0.
	rank int
}

// clocks is the centre's offset from UTC: summer is from 29 March 2026 to 25 October 2026.
func clocks(day time.Time) *time.Location {
	if text := day.Format(time.DateOnly); text >= "2026-03-29" && text < "2026-10-25" {
		return offset(1)
	}
	return offset(0)
}

// months gives the first day of each month of the year.
func months() []time.Time {
	var all []time.Time
	for i := range 12 {
		all = append(all, time.Date(2025, time.November+time.Month(i), 1, 0, 0, 0, 0, time.UTC))
	}
	return all
}

// YearDays gives the midnights of the days on which the year is told: from YearFrom to the eve of CommitteeDay.
func YearDays() []time.Time {
	var all []time.Time
	for day := months()[0]; day.Format(time.DateOnly) < CommitteeDay; day = day.AddDate(0, 0, 1) {
		all = append(all, day)
	}
	return all
}

// workingDays are the days of a month on which the centre plans cases; the holidays are invented.
func workingDays(month time.Time) []time.Time {
	holidays := []string{"2025-12-25", "2025-12-26", "2026-01-01", "2026-04-03", "2026-04-06"}
	var all []time.Time
	for day := month; day.Month() == month.Month(); day = day.AddDate(0, 0, 1) {
		weekend := day.Weekday() == time.Saturday || day.Weekday() == time.Sunday
		if !weekend && !slices.Contains(holidays, day.Format(time.DateOnly)) {
			all = append(all, day)
		}
	}
	return all
}

// visits plans the year: each class so many cases a month, each room one case after another, in order of their start.
func visits(rng *rand.Rand) []visit {
	looks := patterns()
	owed := make([]float64, len(kinds()))
	for i := range owed {
		owed[i] = rng.Float64()
	}
	var all []visit
	for _, month := range months() {
		var these []visit
		for i, k := range kinds() {
			owed[i] += k.aMonth
			n := int(owed[i])
			owed[i] -= float64(n)
			if k.aMonth >= 5 { // busy classes vary from month to month
				n = max(0, n+int(math.Round(limit(rng.NormFloat64(), 2)*math.Sqrt(k.aMonth)/2)))
			}
			for rank := range n {
				these = append(these, drawn(k, looks[k.class], rank, rng))
			}
		}
		rng.Shuffle(len(these), func(i, j int) { these[i], these[j] = these[j], these[i] })
		all = append(all, onDays(these, workingDays(month), rng)...)
	}
	slices.SortStableFunc(all, func(a, b visit) int { return a.start.Compare(b.start) })
	return all
}

// drawn draws what a visit is called and how its doses lie in their distribution.
func drawn(k kind, p pattern, rank int, rng *rand.Rand) visit {
	v := visit{kind: k, pattern: p, word: p.words[0], rank: rank}
	if rng.Float64() < 0.3 {
		v.word = p.words[rng.IntN(len(p.words))]
	}
	const bySize = 0.4 // of what the doses have in common
	v.size = limit(rng.NormFloat64(), 2.5)
	v.g = bySize*v.size + math.Sqrt(1-bySize*bySize)*rng.NormFloat64()
	v.minutes = math.Round(k.minutes * math.Exp(0.2*limit(rng.NormFloat64(), 2)+0.15*limit(v.g, 2)))
	return v
}

// onDays puts the visits of a month on its days: each on the emptiest of some days of its room.
func onDays(these []visit, days []time.Time, rng *rand.Rand) []visit {
	const opens, turnover, looked = 8*60 + 10, 35, 5 // minutes of the day, minutes, days
	booked := map[string][]float64{}
	for i := range these {
		v := &these[i]
		name := v.pattern.room.device.Name
		if booked[name] == nil {
			booked[name] = make([]float64, len(days))
		}
		room := booked[name]
		best := rng.IntN(len(days))
		for range looked {
			if d := rng.IntN(len(days)); room[d] < room[best] {
				best = d
			}
		}
		day := days[best]
		begins := opens + room[best] + float64(rng.IntN(15))
		v.start = time.Date(day.Year(), day.Month(), day.Day(), 0, int(begins), 0, 0, clocks(day))
		room[best] += v.minutes + turnover
	}
	return these
}
