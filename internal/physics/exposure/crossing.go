package exposure

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// sink is how far a patch may lie below the table top and still count as resting on it, in mm: the depth of a body
// sized by height and weight is not known better than that (judgement).
const sink = 30.0

// Crossing tells whether the ray from focus to a point on the skin crosses the table on its way, and if so its slant:
// path length in the slab over the slab's thickness, eq. (6.5). A ray that passes beside the slab does not cross it. No
// table, nil, is not crossed.
func (t *Table) Crossing(focus, point r3.Vec) (slant float64, crosses bool) {
	p := t.From(focus)
	ray := r3.Sub(point, focus)
	slant, _, crosses = p.Crossing(ray, point, math.Sqrt(r3.Norm2(ray)))
	return slant, crosses
}

// Passage is a table as a focus sees it, for the many rays of one focus.
type Passage struct {
	table *Table
	// below, left and head are the focus's place from the middle of the top: under it, and along its axes.
	below, left, head float64
	top               float64 // of the middle along down
}

// From gives the table as a focus sees it. No table, nil, is not crossed by any ray.
func (t *Table) From(focus r3.Vec) Passage {
	if t == nil {
		return Passage{}
	}
	from := r3.Sub(focus, t.Centre)
	return Passage{t, r3.Dot(from, t.Down), r3.Dot(from, t.Left), r3.Dot(from, t.Head), r3.Dot(t.Centre, t.Down)}
}

// Crossing tells of the ray from the focus to a point on the skin, of a length in mm, what Table.Crossing tells, and the gap
// of air between table and point in mm.
func (p *Passage) Crossing(ray, point r3.Vec, length float64) (slant, gap float64, crosses bool) {
	t := p.table
	if t == nil || p.below <= 0 {
		return 0, 0, false
	}
	sunk := r3.Dot(point, t.Down) - p.top
	if sunk > sink || sunk >= p.below {
		return 0, 0, false
	}
	slant = 1 / (p.below - sunk)
	share := p.below * slant
	if across := p.left + share*r3.Dot(ray, t.Left); across > t.HalfWidth || across < -t.HalfWidth {
		return 0, 0, false
	}
	if along := p.head + share*r3.Dot(ray, t.Head); along > t.HalfLength || along < -t.HalfLength {
		return 0, 0, false
	}
	slant *= length
	if sunk < 0 {
		gap = -sunk
	}
	return slant, gap, true
}
