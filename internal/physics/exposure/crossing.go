package exposure

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// sink is how far a patch may lie below the table top and still count as resting on it, in mm: the depth of a body
// sized by height and weight is not known better than that (judgement).
const sink = 30.0

// Crossing tells whether the ray from focus to a point on the skin crosses the table on its way, and if so its slant:
// path length in the slab over the slab's thickness, eq. (6.5). A ray that passes beside the slab does not cross it. No table, nil, is not crossed.
func (t *Table) Crossing(focus, point r3.Vec) (slant float64, crosses bool) {
	if t == nil {
		return 0, false
	}
	below := r3.Dot(r3.Sub(focus, t.Centre), t.Down)
	sunk := r3.Dot(r3.Sub(point, t.Centre), t.Down)
	if below <= 0 || sunk > sink || sunk >= below {
		return 0, false
	}
	ray := r3.Sub(point, focus)
	drop := below - sunk
	at := r3.Sub(r3.Add(focus, r3.Scale(below/drop, ray)), t.Centre)
	if across := r3.Dot(at, t.Left); across > t.HalfWidth || across < -t.HalfWidth {
		return 0, false
	}
	if along := r3.Dot(at, t.Head); along > t.HalfLength || along < -t.HalfLength {
		return 0, false
	}
	return math.Sqrt(r3.Norm2(ray)) / drop, true
}
