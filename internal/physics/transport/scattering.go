package transport

import (
	"math"
	"sort"
	"sync"

	"afterbeam/internal/embedded"
	"afterbeam/internal/physics/beam"
)

// electronRest is the electron's rest energy in keV; hc is Planck's constant times the speed of light in keV Angstrom.
// Source: CODATA 2018, rounded.
const (
	electronRest = 510.99895
	hc           = 12.398420
)

// The grids of the scattering tables in x, 1/Angstrom: even steps for the scattering function, even ratios for the form
// factor. The largest x is that of 150 keV straight back, 12.1.
const (
	largestX = 12.2
	steps    = 2440
	perStep  = steps / largestX
	shells   = 1600
	leastX   = 0.002
)

// scattering is the shape of the two kinds of scatter in one material.
type scattering struct {
	// incoherent is S(x) per electron on the even grid.
	incoherent [steps + 2]float64
	// square are the nodes in x2 and within the integral of F2 over x2 up to them, eq. (9.5).
	square, within [shells + 1]float64
	// to is the integral up to the largest x2 of each energy.
	to [energies]float64
}

var scatterings = sync.OnceValue(func() map[beam.Material]*scattering {
	raw := map[beam.Material][][]float64{}
	var order []beam.Material
	for _, row := range embedded.Records(scatteringCSV) {
		m := beam.Material(row[0])
		if raw[m] == nil {
			order = append(order, m)
		}
		raw[m] = append(raw[m], embedded.Numbers(row[1:]))
	}
	table := make(map[beam.Material]*scattering, len(raw))
	for _, m := range order {
		table[m] = newScattering(raw[m])
	}
	return table
})

func newScattering(rows [][]float64) *scattering {
	s := new(scattering)
	for i := range s.incoherent {
		s.incoherent[i] = min(between(rows, float64(i)/perStep, 2), 1)
	}
	for i := 1; i <= shells; i++ {
		x := leastX * math.Pow(largestX/leastX, float64(i-1)/(shells-1))
		s.square[i] = x * x
		before := math.Sqrt(s.square[i-1])
		middle := between(rows, math.Sqrt((s.square[i]+s.square[i-1])/2), 1) // Simpson's rule in x2
		s.within[i] = s.within[i-1] + (s.square[i]-s.square[i-1])*(between(rows, before, 1)+4*middle+between(rows, x, 1))/6
	}
	for i := range s.to {
		x := (lowest + float64(i)/perKeV) / hc
		s.to[i] = s.integral(x * x)
	}
	return s
}

// between interpolates column k of the rows: log-log, and linear in x2 below the first positive x.
func between(rows [][]float64, x float64, k int) float64 {
	i := sort.Search(len(rows), func(i int) bool { return rows[i][0] >= x })
	switch {
	case i == 0:
		return rows[0][k]
	case i == len(rows):
		return rows[i-1][k]
	case i == 1:
		f := x * x / (rows[1][0] * rows[1][0])
		return rows[0][k] + f*(rows[1][k]-rows[0][k])
	}
	a, b := rows[i-1], rows[i]
	return a[k] * math.Pow(b[k]/a[k], math.Log(x/a[0])/math.Log(b[0]/a[0]))
}

// integral is that of F2 over x2 from 0.
func (s *scattering) integral(square float64) float64 {
	i := min(max(sort.SearchFloat64s(s.square[:], square), 1), shells)
	f := (square - s.square[i-1]) / (s.square[i] - s.square[i-1])
	return s.within[i-1] + f*(s.within[i]-s.within[i-1])
}

// function is S(x).
func (s *scattering) function(x float64) float64 {
	at := x * perStep
	i := min(int(at), steps)
	return s.incoherent[i] + (at-float64(i))*(s.incoherent[i+1]-s.incoherent[i])
}

// coherently draws the cosine of a coherent scattering angle, eq. (9.5): x2 from the integral of F2 up to its largest,
// accepted with (1 + cos2)/2.
func (s *scattering) coherently(random *stream, energy float64, p place) float64 {
	most := energy / hc
	most *= most
	all := s.to[p.node] + p.share*(s.to[p.node+1]-s.to[p.node])
	for {
		want := random.uniform() * all
		low, high := 0, shells
		for high-low > 1 {
			middle := int(uint(low+high) >> 1)
			if s.within[middle] <= want {
				low = middle
			} else {
				high = middle
			}
		}
		f := (want - s.within[low]) / (s.within[high] - s.within[low])
		cos := 1 - 2*min((s.square[low]+f*(s.square[high]-s.square[low]))/most, 1)
		if 2*random.uniform() <= 1+cos*cos {
			return cos
		}
	}
}

// incoherently draws the energy after an incoherent scattering and the cosine of its angle, eqs. (9.3) and (9.4): the
// energy fraction by composition and rejection from the Klein-Nishina distribution (Butcher and Messel 1960, Nucl Phys
// 20:15), accepted with S(x).
func (s *scattering) incoherently(random *stream, energy float64) (after, cos float64) {
	k := energy / electronRest
	least := 1 / (1 + 2*k)
	first := -math.Log(least)         // weight of the branch 1/e
	second := 0.5 * (1 - least*least) // weight of the branch e
	for {
		var fraction float64
		if random.uniform()*(first+second) < first {
			fraction = math.Exp(-first * random.uniform())
		} else {
			fraction = math.Sqrt(least*least + (1-least*least)*random.uniform())
		}
		oneLess := (1 - fraction) / (k * fraction) // 1 - cos
		sin2 := oneLess * (2 - oneLess)
		if random.uniform() > 1-fraction*sin2/(1+fraction*fraction) {
			continue
		}
		x := energy / hc * math.Sqrt(oneLess/2)
		if random.uniform() < s.function(x) {
			return energy * fraction, 1 - oneLess
		}
	}
}
