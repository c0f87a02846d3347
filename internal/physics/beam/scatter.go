package beam

import (
	"sync"

	"afterbeam/internal/quantity"
)

// Scatter is the backscatter of a water-like patient for one spectrum, for air kerma at the surface, eq. (3.2). It holds
// for normal incidence (see Oblique), tissue at least 10 cm thick and fields of 2 to 30 cm; larger ones rise smoothly to
// the limit of the unlimited field.
type Scatter struct {
	weights []float64 // per energy of the kernel table
	near    grid
	far     func() *quadrants
}

// Scatter gives the backscatter of the beam as it hits the skin. It is worked out at the first call and kept.
func (b *Beam) Scatter() *Scatter { return b.scatter() }

func newScatter(kerma []float64, total float64) *Scatter {
	s := &Scatter{weights: energyWeights(kerma, total)}
	s.sum(nearNodes, func(i, j int, v float64) { s.near[i][j] = v })
	s.far = sync.OnceValue(func() *quadrants {
		q := new(quadrants)
		s.sum(nodes, func(i, j int, v float64) { q[i*nodes+j] = v })
		return q
	})
	return s
}

// sum adds the first n by n nodes of the energies' grids, which are symmetric, by the beam's weights.
func (s *Scatter) sum(n int, put func(i, j int, v float64)) {
	tables := quadrantTables()
	row := make([]float64, n)
	for i := range n {
		to := row[:i+1]
		clear(to)
		for e, w := range s.weights {
			if w == 0 {
				continue
			}
			for j, q := range tables[e][i*nodes : i*nodes+i+1] {
				to[j] += w * q
			}
		}
		for j, v := range to {
			put(i, j, v)
			put(j, i, v)
		}
	}
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
	w, h := width/2, height/2
	return s.At(w, w, h, h)
}

// At is B at a point of a rectangular field whose edges are left, right, below and above of it at these distances, in
// the plane perpendicular to the beam at the skin, eq. (3.4). A negative distance puts the point outside that edge. There
// is no primary beam there: At - 1 is then the scatter over the primary inside the field.
func (s *Scatter) At(left, right, below, above quantity.Millimetre) float64 {
	l, r, b, a := cell(float64(left)), cell(float64(right)), cell(float64(below)), cell(float64(above))
	if max(l.lower, r.lower, b.lower, a.lower) > nearNodes-2 {
		return 1 + s.far().sum(l, r, b, a)
	}
	return 1 + s.near.sum(l, r, b, a)
}
