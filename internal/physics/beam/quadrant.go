package beam

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// The grid of the quadrant integrals: nodes are even in the root of the distance, because the integral behaves like
// x ln x at the edges of a field, which is smooth in the root.
const (
	nodes    = 72
	farthest = 600.0 // mm; S does not change beyond
)

// node gives the distance of a grid node in mm.
func node(i int) float64 {
	u := float64(i) / (nodes - 1)
	return farthest * u * u
}

// quadrants is Q(x, y) of eq. (3.5) at the grid nodes, one energy after the other.
type quadrants [nodes * nodes]float64

// integrate makes the quadrants of the scatter s in circles of a radius. The two terms of a quadrant share one function of
// (distance to an edge, length along it), summed up angle by angle.
func integrate(s func(float64) float64, out *quadrants) {
	const points = 4
	var offset, weight [points]float64
	quad.Legendre{}.FixedLocations(offset[:], weight[:], 0, 1)
	half := new(quadrants) // half[x][y]: the triangle between the foot of the edge at x and y along it
	for i := 1; i < nodes; i++ {
		x, from, sum := node(i), 0.0, 0.0
		for j := 1; j < nodes; j++ {
			to := math.Atan2(node(j), x)
			for p := range points {
				angle := from + (to-from)*offset[p]
				sum += (to - from) * weight[p] * s(x/math.Cos(angle))
			}
			half[i*nodes+j] = sum / (2 * math.Pi)
			from = to
		}
	}
	for i := range nodes {
		for j := range nodes {
			out[i*nodes+j] = half[i*nodes+j] + half[j*nodes+i]
		}
	}
}

// nearNodes are the nodes that fields at the skin and what lies beside them reach: their distances end at 30 cm.
const nearNodes = 51

// grid is Q at the near nodes. Its rows are long enough for their index to be cut to six bits: a map looks up millions of
// points.
type grid [nearNodes][64]float64

// sum is Q(l, b) + Q(l, a) + Q(r, b) + Q(r, a), each odd in both distances and bilinear between the nodes: so it stays
// concave as Q is, and no point of a field scatters more than its centre.
func (g *grid) sum(l, r, b, a edge) float64 {
	l0, l1, r0, r1 := &g[l.lower], &g[l.lower+1], &g[r.lower], &g[r.lower+1]
	wl1, wr1 := l.sign*l.share, r.sign*r.share
	wl0, wr0 := l.sign-wl1, r.sign-wr1
	y, z := b.lower&63, (b.lower+1)&63
	low := wl0*l0[y] + wl1*l1[y] + wr0*r0[y] + wr1*r1[y]
	high := wl0*l0[z] + wl1*l1[z] + wr0*r0[z] + wr1*r1[z]
	below := b.sign * (low + b.share*(high-low))
	y, z = a.lower&63, (a.lower+1)&63
	low = wl0*l0[y] + wl1*l1[y] + wr0*r0[y] + wr1*r1[y]
	high = wl0*l0[z] + wl1*l1[z] + wr0*r0[z] + wr1*r1[z]
	return below + a.sign*(low+a.share*(high-low))
}

// sum is that of a grid over all nodes.
func (q *quadrants) sum(l, r, b, a edge) float64 {
	return q.at(l, b) + q.at(l, a) + q.at(r, b) + q.at(r, a)
}

func (q *quadrants) at(x, y edge) float64 {
	i := x.lower*nodes + y.lower
	lower := q[i] + y.share*(q[i+1]-q[i])
	upper := q[i+nodes] + y.share*(q[i+nodes+1]-q[i+nodes])
	return x.sign * y.sign * (lower + x.share*(upper-lower))
}

// edge is a distance as a grid sees it: the node below, the share of the way to the next, and its sign.
type edge struct {
	lower       int
	share, sign float64
}

// unit is the distance of the grid's first node; node i lies at i squared units.
const unit = farthest / ((nodes - 1) * (nodes - 1))

// steps are the nodes below whole units, and one over the units from each node to the next.
type steps struct {
	lower [(nodes-1)*(nodes-1) + 1]uint8
	share [nodes]float64
}

func newSteps() *steps {
	s := new(steps)
	for i := range nodes {
		s.share[i] = 1 / float64(2*i+1)
	}
	for u := range s.lower {
		s.lower[u] = uint8(min(int(math.Sqrt(float64(u))), nodes-2))
	}
	return s
}

var gridSteps = newSteps()

// cell finds the place of a distance on the grid; what is no number stays none.
func cell(x float64) edge {
	sign := 1.0
	if x < 0 {
		x, sign = -x, -1
	}
	if !(x < farthest) {
		return edge{nodes - 2, 1 + 0*min(x, 2*farthest), sign}
	}
	u := x * (1 / unit)
	lower := int(gridSteps.lower[int(u)])
	i := float64(lower)
	return edge{lower, (u - i*i) * gridSteps.share[lower], sign}
}
