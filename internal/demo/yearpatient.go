package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"afterbeam/internal/quantity"
)

// ward remembers the invented patients of the year, for those who come again.
type ward struct {
	known map[string][]seen
	last  int
}

// seen is a patient of a pool and the day of the last case.
type seen struct {
	subject
	day time.Time
}

// admit gives the patient of a visit: one of the pool who was there three to eight weeks ago, or a new one.
func (w *ward) admit(v visit, rng *rand.Rand) subject {
	const soonest, latest = 21, 58 // days
	pool := v.pattern.pool
	if pool == "" {
		return w.invent(v, rng)
	}
	if rng.Float64() < v.pattern.again {
		for i, s := range w.known[pool] {
			if d := v.start.Sub(s.day).Hours() / 24; d >= soonest && d <= latest {
				w.known[pool][i].day = v.start
				return s.subject
			}
		}
	}
	s := w.invent(v, rng)
	w.known[pool] = append(w.known[pool], seen{s, v.start})
	return s
}

// invent makes a patient whose weight goes with the size that the visit was drawn with.
func (w *ward) invent(v visit, rng *rand.Rand) subject {
	w.last++
	p := v.pattern
	s := subject{id: fmt.Sprintf("SYN-Y%04d", w.last), name: fmt.Sprintf("Synthetic^Year %04d", w.last), sex: "M"}
	height := 1760 + 70*limit(rng.NormFloat64(), 2.2)
	if rng.Float64() < p.women {
		s.sex, height = "F", height-130
	}
	age := max(p.ages.middle+p.ages.sigma*limit(rng.NormFloat64(), 2.2), 0.02)
	s.birth = v.start.AddDate(0, 0, -int(age*365.2425)-rng.IntN(20)).Format(time.DateOnly)
	const index, spread = 27, 0.17 // kg/m2, sigma of its logarithm
	kg := index * math.Exp(spread*v.size) * height * height * 1e-6
	if p.weight > 0 {
		kg = p.weight * math.Exp(0.12*v.size)
		// Length of a child of that weight, near the newborn and the 15 years old of the body family.
		height = 510 * math.Pow(kg/3.6, 0.44)
	}
	s.height, s.weight = quantity.Millimetre(10*math.Round(height/10)), quantity.Kilogram(snap(kg, 1))
	return s
}
