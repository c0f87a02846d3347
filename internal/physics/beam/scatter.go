package beam

import (
	"math"
	"sync"

	"afterbeam/internal/quantity"
)

// Scatter is the backscatter of a water-like patient for one spectrum, for air kerma at the surface, eq. (3.2). It holds
// for normal incidence (to 45 degrees within 3.3 %), tissue at least 10 cm thick and fields of 2 to 30 cm; larger ones
// rise smoothly to the limit of the unlimited field.
type Scatter struct {
	weights []float64 // per energy of the kernel table
	near    [nearNodes * nearNodes]float64
	far     func() *quadrants
}

// nearNodes are the nodes of the grid that fields at the skin reach: their distances end at 24 cm. The others are summed
// when a point first needs one of them.
const nearNodes = 46

// Scatter gives the backscatter of the beam as it hits the skin. It is worked out at the first call and kept.
func (b *Beam) Scatter() *Scatter { return b.scatter() }

func newScatter(kerma []float64, total float64) *Scatter {
	s := &Scatter{weights: energyWeights(kerma, total)}
	s.sum(s.near[:], nearNodes)
	s.far = sync.OnceValue(func() *quadrants {
		q := new(quadrants)
		s.sum(q[:], nodes)
		return q
	})
	return s
}

// sum adds the first n by n nodes of the energies' grids, which are symmetric, by the beam's weights.
func (s *Scatter) sum(grid []float64, n int) {
	tables := quadrantTables()
	for e, w := range s.weights {
		if w == 0 {
			continue
		}
		for i := range n {
			to, from := grid[i*n:i*n+i+1], tables[e][i*nodes:i*nodes+i+1]
			for j := range to {
				to[j] += w * from[j]
			}
		}
	}
	for i := range n {
		for j := range i {
			grid[j*n+i] = grid[i*n+j]
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
	grid, n := s.near[:], nearNodes
	if max(l.lower, r.lower, b.lower, a.lower) > nearNodes-2 {
		grid, n = s.far()[:], nodes
	}
	return 1 + quadrant(grid, n, l, b) + quadrant(grid, n, l, a) + quadrant(grid, n, r, b) + quadrant(grid, n, r, a)
}

// quadrant is Q(x, y), odd in both, bilinear in the distances between the nodes of a grid of n by n: so it stays concave
// as Q is, and no point of a field scatters more than its centre.
func quadrant(grid []float64, n int, x, y edge) float64 {
	at := x.lower*n + y.lower
	lower := grid[at] + y.share*(grid[at+1]-grid[at])
	upper := grid[at+n] + y.share*(grid[at+n+1]-grid[at+n])
	return x.sign * y.sign * (lower + x.share*(upper-lower))
}

// edge is a distance as the grid sees it: the node below, the share of the way to the next, and its sign.
type edge struct {
	lower       int
	share, sign float64
}

// cell finds the place of a distance on the grid, whose node i lies at i squared units.
func cell(x float64) edge {
	const unit = farthest / ((nodes - 1) * (nodes - 1))
	e := edge{sign: 1}
	if x < 0 {
		x, e.sign = -x, -1
	}
	u := min(x, farthest) * (1 / unit)
	e.lower = min(int(math.Sqrt(u)), nodes-2)
	i := float64(e.lower)
	e.share = (u - i*i) / (2*i + 1)
	return e
}
