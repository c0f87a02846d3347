package beam

import (
	"math"

	"afterbeam/internal/quantity"
)

// Scatter is the backscatter of a water-like patient for one spectrum, for air kerma at the surface, eq. (3.2). It holds
// for normal incidence (to 45 degrees within 3.3 %), tissue at least 10 cm thick and fields of 2 to 30 cm; larger ones
// rise smoothly to the limit of the unlimited field.
type Scatter struct {
	weights []float64 // per energy of the kernel table
	q       quadrants
}

// Scatter gives the backscatter of the beam as it hits the skin. It is worked out at the first call and kept.
func (b *Beam) Scatter() *Scatter { return b.scatter() }

func newScatter(kerma []float64, total float64) *Scatter {
	s := &Scatter{weights: energyWeights(kerma, total)}
	tables := quadrantTables()
	for e, w := range s.weights {
		if w == 0 {
			continue
		}
		for i, q := range &tables[e] {
			s.q[i] += w * q
		}
	}
	return s
}

// Circle is B at the centre of a circular field.
func (s *Scatter) Circle(diameter quantity.Millimetre) float64 {
	b, list := 1.0, kernels()
	for e, w := range s.weights {
		if w != 0 {
			b += w * list[e].at(max(float64(diameter), 0)/2)
		}
	}
	return b
}

// Square is B at the centre of a square field.
func (s *Scatter) Square(side quantity.Millimetre) float64 { return s.Rectangle(side, side) }

// Rectangle is B at the centre of a rectangular field.
func (s *Scatter) Rectangle(width, height quantity.Millimetre) float64 {
	return 1 + 4*s.quadrant(float64(width)/2, float64(height)/2)
}

// At is B at a point of a rectangular field whose edges are left, right, below and above of it at these distances, in
// the plane perpendicular to the beam at the skin, eq. (3.4). A negative distance puts the point outside that edge. There
// is no primary beam there: At - 1 is then the scatter over the primary inside the field.
func (s *Scatter) At(left, right, below, above quantity.Millimetre) float64 {
	l, r, b, a := float64(left), float64(right), float64(below), float64(above)
	return 1 + s.quadrant(l, b) + s.quadrant(l, a) + s.quadrant(r, b) + s.quadrant(r, a)
}

// quadrant is Q(x, y), odd in both, bilinear in the distances between the nodes of the grid: so it stays concave as Q is,
// and no point of a field scatters more than its centre.
func (s *Scatter) quadrant(x, y float64) float64 {
	sign := 1.0
	if x < 0 {
		x, sign = -x, -sign
	}
	if y < 0 {
		y, sign = -y, -sign
	}
	i, fx := cell(x)
	j, fy := cell(y)
	at := i*nodes + j
	lower := s.q[at] + fy*(s.q[at+1]-s.q[at])
	upper := s.q[at+nodes] + fy*(s.q[at+nodes+1]-s.q[at+nodes])
	return sign * (lower + fx*(upper-lower))
}

func cell(x float64) (lower int, share float64) {
	x = min(x, farthest)
	lower = min(max(int(math.Sqrt(x*(1/farthest))*(nodes-1)), 0), nodes-2)
	from, to := node(lower), node(lower+1)
	return lower, (x - from) / (to - from)
}
