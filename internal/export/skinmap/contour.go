package skinmap

// grid is a field of values at regular nodes: column c lies at x[c], row r at y[r], value at at[r*len(x)+c]. Its outermost
// nodes repeat the place of their neighbours with the value 0, so that every contour closes along the border.
type grid struct {
	x, y, at []float64
}

func (g *grid) value(c, r int) float64 { return g.at[r*len(g.x)+c] }

// point on a contour; border tells that it lies on the rim of the grid.
type point struct {
	x, y   float64
	border bool
}

// loop is a closed contour, the higher side on its left.
type loop []point

// edgeKey names an edge of the grid: from node (c, r) to the right, or up.
type edgeKey struct {
	c, r int
	up   bool
}

// contours traces the closed lines around all that is at least the level.
func (g *grid) contours(level float64) []loop {
	next := map[edgeKey]edgeKey{}
	var starts []edgeKey
	for r := range len(g.y) - 1 {
		for c := range len(g.x) - 1 {
			for _, s := range g.segments(c, r, level) {
				next[s[0]] = s[1]
				starts = append(starts, s[0])
			}
		}
	}
	var loops []loop
	for _, start := range starts {
		if _, ok := next[start]; !ok {
			continue
		}
		var l loop
		for at := start; ; {
			to, ok := next[at]
			if !ok {
				break
			}
			delete(next, at)
			l = append(l, g.crossing(at, level))
			at = to
		}
		loops = append(loops, l)
	}
	return loops
}

// The edges of a cell.
const (
	bottom = iota
	right
	top
	left
)

// The pieces of contour in a cell, from edge to edge with the higher side on the left, by which corners are high: bit 0
// is the lower left corner, then on against the clock.
var pieces = [16][][2]int{
	1: {{bottom, left}}, 2: {{right, bottom}}, 3: {{right, left}}, 4: {{top, right}}, 5: {{bottom, left}, {top, right}},
	6: {{top, bottom}}, 7: {{top, left}}, 8: {{left, top}}, 9: {{bottom, top}}, 10: {{right, bottom}, {left, top}},
	11: {{right, top}}, 12: {{left, right}}, 13: {{bottom, right}}, 14: {{left, bottom}},
}

// In a cell with two high corners opposite each other the mean decides whether they are joined; these are the pieces
// when they are.
var joined = [16][][2]int{5: {{bottom, right}, {top, left}}, 10: {{left, bottom}, {right, top}}}

// segments gives the directed pieces of the contour in one cell.
func (g *grid) segments(c, r int, level float64) [][2]edgeKey {
	v := [4]float64{g.value(c, r), g.value(c+1, r), g.value(c+1, r+1), g.value(c, r+1)}
	shape := 0
	for i, x := range v {
		if x >= level {
			shape |= 1 << i
		}
	}
	found := pieces[shape]
	if len(joined[shape]) > 0 && (v[0]+v[1]+v[2]+v[3])/4 >= level {
		found = joined[shape]
	}
	edges := [4]edgeKey{bottom: {c, r, false}, right: {c + 1, r, true}, top: {c, r + 1, false}, left: {c, r, true}}
	out := make([][2]edgeKey, len(found))
	for i, f := range found {
		out[i] = [2]edgeKey{edges[f[0]], edges[f[1]]}
	}
	return out
}

// crossing is where the level lies on an edge.
func (g *grid) crossing(e edgeKey, level float64) point {
	c, r := e.c, e.r
	if e.up {
		r++
	} else {
		c++
	}
	from, to := g.value(e.c, e.r), g.value(c, r)
	t := (level - from) / (to - from)
	x, y := g.x[e.c]+t*(g.x[c]-g.x[e.c]), g.y[e.r]+t*(g.y[r]-g.y[e.r])
	rim := x <= g.x[0] || x >= g.x[len(g.x)-1] || y <= g.y[0] || y >= g.y[len(g.y)-1]
	return point{x, y, rim}
}

// encloses tells whether a point lies inside the loop, by counting crossings of a ray.
func (l loop) encloses(p point) bool {
	inside := false
	for i, a := range l {
		b := l[(i+1)%len(l)]
		if (a.y > p.y) != (b.y > p.y) && p.x < a.x+(p.y-a.y)/(b.y-a.y)*(b.x-a.x) {
			inside = !inside
		}
	}
	return inside
}
