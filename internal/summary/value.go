package summary

import (
	"cmp"
	"math"
	"slices"

	"afterbeam/internal/quantity"
)

// The reasons for which a case is left out of a statistic.
const (
	leftAbsent  = "absent"
	leftPart    = string(DoubtPart)
	leftSuspect = string(DoubtSuspect)
)

// measure is a quantity that is summed up, in the unit of its name.
type measure struct {
	name, unit, basis string
	// of gives the value of a case, or the reason why it has none that counts.
	of func(*Case) (float64, string)
}

const (
	displayed = "displayed"
	estimated = "estimated"
)

func measureKAP() measure {
	return measure{"kap_gy_cm2", "Gy.cm2", displayed, func(c *Case) (float64, string) {
		return counted(c.KAP, c.KAPDoubt, quantity.GraySquareMetre.Gycm2)
	}}
}

func measureKerma() measure {
	return measure{"kar_gy", "Gy", displayed, func(c *Case) (float64, string) {
		return counted(c.Kerma, c.KermaDoubt, func(v quantity.Gray) float64 { return float64(v) })
	}}
}

func measureTime() measure {
	return measure{"ft_min", "min", displayed, func(c *Case) (float64, string) {
		return counted(c.FluoroTime, c.TimeDoubt, quantity.Second.Minutes)
	}}
}

func measureImages() measure {
	return measure{"images", "1", displayed, func(c *Case) (float64, string) {
		return counted(c.Images, c.ImagesDoubt, func(v float64) float64 { return v })
	}}
}

// measurePSD leaves out what rests on a Ka,r that is not whole and believed, and what is a lower bound.
func measurePSD() measure {
	return measure{"psd_gy", "Gy", estimated, func(c *Case) (float64, string) {
		doubt := c.KermaDoubt
		if doubt == DoubtNone && c.PSDLowerBound {
			doubt = DoubtPart
		}
		return counted(c.PSD, doubt, func(v quantity.Gray) float64 { return float64(v) })
	}}
}

// measureEffective leaves out what rests on a KAP that is not whole and believed.
func measureEffective() measure {
	return measure{"e_msv", "mSv", estimated, func(c *Case) (float64, string) {
		return counted(c.Effective, c.KAPDoubt, quantity.Sievert.MSv)
	}}
}

func measureKAPByWeight() measure {
	kap := measureKAP()
	return measure{"kap_gy_cm2_per_kg", "Gy.cm2/kg", displayed, func(c *Case) (float64, string) {
		value, left := kap.of(c)
		weight, known := c.Weight.Get()
		if left != "" || !known || !(weight > 0) {
			return 0, cmp.Or(left, leftAbsent)
		}
		return value / float64(weight), ""
	}}
}

func classMeasures() []measure {
	return []measure{measureKAP(), measureKerma(), measureTime(), measureImages(), measurePSD(), measureEffective()}
}

// counted gives a value that counts, or why it does not: a part is no low value, and what is not believed is none.
func counted[T ~float64](v quantity.Opt[T], doubt Doubt, unit func(T) float64) (float64, string) {
	value, present := v.Get()
	switch {
	case !present:
		return 0, leftAbsent
	case doubt != DoubtNone:
		return 0, string(doubt)
	}
	shown := unit(value)
	if math.IsNaN(shown) || math.IsInf(shown, 0) || shown < 0 {
		return 0, leftSuspect
	}
	return shown, ""
}

// sample is the values of one quantity in a group of cases.
type sample struct {
	sorted []float64
	of     int
	left   [3]int // absent, part, suspect
}

func (s *sample) leave(reason string) {
	s.of++
	switch reason {
	case leftPart:
		s.left[1]++
	case leftSuspect:
		s.left[2]++
	default:
		s.left[0]++
	}
}

func (s *sample) leftOut() []LeftOut {
	out := []LeftOut{}
	for i, reason := range []string{leftAbsent, leftPart, leftSuspect} {
		if s.left[i] > 0 {
			out = append(out, LeftOut{Reason: reason, Cases: s.left[i]})
		}
	}
	return out
}

// column is one quantity of some cases, sorted once by value, so that every parting of the cases is sorted as well.
type column struct {
	values []float64
	cases  []int32  // of each value, its place among the cases
	left   []string // of each case, why it has no value, or ""
}

func columnOf(m measure, cases []*Case) column {
	c := column{left: make([]string, len(cases))}
	type entry struct {
		value float64
		at    int32
	}
	entries := make([]entry, 0, len(cases))
	for i, one := range cases {
		value, left := m.of(one)
		c.left[i] = left
		if left == "" {
			entries = append(entries, entry{value, int32(i)})
		}
	}
	slices.SortFunc(entries, func(a, b entry) int { return cmp.Compare(a.value, b.value) })
	c.values, c.cases = make([]float64, len(entries)), make([]int32, len(entries))
	for i, e := range entries {
		c.values[i], c.cases[i] = e.value, e.at
	}
	return c
}

// parted gives the sample of each group; groups names those of each case.
func (c column) parted(groups [][]int, number int) []sample {
	out := make([]sample, number)
	for i, left := range c.left {
		for _, g := range groups[i] {
			if left != "" {
				out[g].leave(left)
			} else {
				out[g].of++
			}
		}
	}
	for i := range out {
		s := &out[i]
		s.sorted = make([]float64, 0, s.of-s.left[0]-s.left[1]-s.left[2])
	}
	for i, value := range c.values {
		for _, g := range groups[c.cases[i]] {
			out[g].sorted = append(out[g].sorted, value)
		}
	}
	return out
}

// where gives the sample of the cases that a condition holds for.
func (c column) where(holds func(int) bool) sample {
	s := sample{}
	for i, left := range c.left {
		switch {
		case !holds(i):
		case left != "":
			s.leave(left)
		default:
			s.of++
		}
	}
	for i, value := range c.values {
		if holds(int(c.cases[i])) {
			s.sorted = append(s.sorted, value)
		}
	}
	return s
}
