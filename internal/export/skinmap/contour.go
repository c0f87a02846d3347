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

// segments gives the directed pieces of the contour in one cell, from edge to edge, the higher side on the left.
func (g *grid) segments(c, r int, level float64) [][2]edgeKey {
	bottom, top := edgeKey{c, r, false}, edgeKey{c, r + 1, false}
	left, right := edgeKey{c, r, true}, edgeKey{c + 1, r, true}
	v := [4]float64{g.value(c, r), g.value(c+1, r), g.value(c+1, r+1), g.value(c, r+1)}
	shape := 0
	for i, x := range v {
		if x >= level {
			shape |= 1 << i
		}
	}
	one := func(from, to edgeKey) [][2]edgeKey { return [][2]edgeKey{{from, to}} }
	switch shape {
	case 1:
		return one(bottom, left)
	case 2:
		return one(right, bottom)
	case 3:
		return one(right, left)
	case 4:
		return one(top, right)
	case 6:
		return one(top, bottom)
	case 7:
		return one(top, left)
	case 8:
		return one(left, top)
	case 9:
		return one(bottom, top)
	case 11:
		return one(right, top)
	case 12:
		return one(left, right)
	case 13:
		return one(bottom, right)
	case 14:
		return one(left, bottom)
	case 5, 10:
		return saddle(shape == 5, (v[0]+v[1]+v[2]+v[3])/4 >= level, left, right, bottom, top)
	}
	return nil
}

// saddle parts a cell with two high corners opposite each other; the mean decides whether they are joined.
func saddle(mainDiagonal, joined bool, left, right, bottom, top edgeKey) [][2]edgeKey {
	switch {
	case mainDiagonal && joined:
		return [][2]edgeKey{{bottom, right}, {top, left}}
	case mainDiagonal:
		return [][2]edgeKey{{bottom, left}, {top, right}}
	case joined:
		return [][2]edgeKey{{left, bottom}, {right, top}}
	}
	return [][2]edgeKey{{right, bottom}, {left, top}}
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
