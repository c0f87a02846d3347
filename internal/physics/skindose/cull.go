package skindose

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
)

// sides are the inward unit normals of the four planes through the focus that bound the field.
type sides [4]r3.Vec

func sidesOf(s *exposure.Shot) sides {
	inward := func(edge r3.Vec, tangent float64) r3.Vec {
		return r3.Unit(r3.Add(edge, r3.Scale(tangent, s.Toward)))
	}
	return sides{
		inward(s.Across, s.HalfWidth), inward(r3.Scale(-1, s.Across), s.HalfWidth),
		inward(s.Along, s.HalfHeight), inward(r3.Scale(-1, s.Along), s.HalfHeight),
	}
}

// misses tells that no patch of a group can be reached: its bounding sphere lies wholly outside the field and farther from
// it than its scatter is followed, or the cone of its normals turns wholly away from the focus. It may say false for a
// group that is not reached, never true for one that is.
func (f sides) misses(s *exposure.Shot, g *body.Group, beyond float64) bool {
	c := r3.Sub(g.Centre, s.Focus)
	for i := range f {
		if r3.Dot(c, f[i]) < -g.Radius-beyond {
			return true
		}
	}
	distance := math.Sqrt(r3.Norm2(c))
	if distance <= g.Radius {
		return false
	}
	// Seen from a patch, the focus lies within delta of its direction from the centre: the group turns away when the
	// angle from its axis to that direction is over 90 degrees + half cone + delta.
	sinDelta := g.Radius / distance
	cosDelta := math.Sqrt(1 - sinDelta*sinDelta)
	sinHalf := math.Sqrt(max(0, 1-g.CosHalf*g.CosHalf))
	if g.CosHalf*cosDelta-sinHalf*sinDelta <= 0 {
		return false
	}
	return r3.Dot(g.Axis, c)/distance > sinHalf*cosDelta+g.CosHalf*sinDelta
}
