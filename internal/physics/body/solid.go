package body

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// solid is one convex piece of the body: the points with low <= z <= high where a quadric is negative, eq. (5.4).
type solid struct {
	part      Part
	low, high float64
	// For cylinders and the cap: ((x-x0)/a)^2 + (y/b)^2 + ((z-z0)/c)^2 - 1, with the last term only when c > 0.
	a, b, c, x0, z0 float64
	// For legs, side is +1 or -1: (x^2 + y^2 - 2 side x r(z)) / r(0)^2 with r(z) = a (1 + z/c).
	side float64
}

// along gives the quadric on the line p + t d as q2 t^2 + q1 t + q0.
func (s *solid) along(p, d r3.Vec) (q2, q1, q0 float64) {
	if s.side != 0 {
		r, dr, n := s.a*(1+p.Z/s.c), s.a*d.Z/s.c, 1/(s.a*s.a)
		q2 = (d.X*d.X + d.Y*d.Y - 2*s.side*d.X*dr) * n
		q1 = 2 * (p.X*d.X + p.Y*d.Y - s.side*(p.X*dr+d.X*r)) * n
		q0 = (p.X*p.X + p.Y*p.Y - 2*s.side*p.X*r) * n
		return q2, q1, q0
	}
	a2, b2 := 1/(s.a*s.a), 1/(s.b*s.b)
	p.X -= s.x0
	q2 = d.X*d.X*a2 + d.Y*d.Y*b2
	q1 = 2 * (p.X*d.X*a2 + p.Y*d.Y*b2)
	q0 = p.X*p.X*a2 + p.Y*p.Y*b2 - 1
	if s.c > 0 {
		c2, z := 1/(s.c*s.c), p.Z-s.z0
		q2 += d.Z * d.Z * c2
		q1 += 2 * z * d.Z * c2
		q0 += z * z * c2
	}
	return q2, q1, q0
}

// slab cuts the line p + t d, lo <= t <= hi, to the solid's heights.
func (s *solid) slab(p, d r3.Vec, lo, hi float64) (float64, float64, bool) {
	if d.Z == 0 {
		return lo, hi, p.Z >= s.low && p.Z <= s.high
	}
	t0, t1 := (s.low-p.Z)/d.Z, (s.high-p.Z)/d.Z
	if t0 > t1 {
		t0, t1 = t1, t0
	}
	lo, hi = max(lo, t0), min(hi, t1)
	return lo, hi, lo < hi
}

// touch is how far below zero a quadric must be to count as inside: it keeps a patch on the rim of a neighbour lit.
const touch = 1e-9

// blocks tells whether the segment from p to p+d passes through the inside of the solid.
func (s *solid) blocks(p, d r3.Vec) bool {
	if max(p.Z, p.Z+d.Z) <= s.low || min(p.Z, p.Z+d.Z) >= s.high {
		return false
	}
	if s.side == 0 && s.beside(p, d) {
		return false
	}
	lo, hi, ok := s.slab(p, d, 0, 1)
	if !ok {
		return false
	}
	q2, q1, q0 := s.along(p, d)
	least := min((q2*lo+q1)*lo+q0, (q2*hi+q1)*hi+q0)
	if q2 > 0 {
		if t := -q1 / (2 * q2); t > lo && t < hi {
			least = min(least, (q2*t+q1)*t+q0)
		}
	}
	return least < -touch
}

// beside tells that a segment passes outside the box around an upright solid, which most do.
func (s *solid) beside(p, d r3.Vec) bool {
	return min(p.Y, p.Y+d.Y) >= s.b || max(p.Y, p.Y+d.Y) <= -s.b ||
		min(p.X, p.X+d.X) >= s.x0+s.a || max(p.X, p.X+d.X) <= s.x0-s.a
}

// enter gives the first t >= 0 at which the ray p + t d is in the solid.
func (s *solid) enter(p, d r3.Vec) (float64, bool) {
	lo, hi, ok := s.slab(p, d, 0, math.Inf(1))
	if !ok {
		return 0, false
	}
	q2, q1, q0 := s.along(p, d)
	if (q2*lo+q1)*lo+q0 <= 0 {
		return lo, true
	}
	discriminant := q1*q1 - 4*q2*q0
	if discriminant <= 0 {
		return 0, false
	}
	// The stable pair of roots; q2 may vanish for a ray along a cone's side.
	q := -0.5 * (q1 + math.Copysign(math.Sqrt(discriminant), q1))
	best, found := 0.0, false
	for _, t := range [2]float64{q / q2, q0 / q} {
		if t >= lo && t <= hi && (!found || t < best) {
			best, found = t, true
		}
	}
	return best, found
}

// holds tells whether a point is in the solid.
func (s *solid) holds(p r3.Vec) bool {
	if p.Z < s.low || p.Z > s.high {
		return false
	}
	_, _, q0 := s.along(p, r3.Vec{})
	return q0 < 0
}

// solids are the pieces of a body of the given dimensions.
func solids(d Dimensions) []solid {
	neck := d.TrunkHeight
	head := neck + d.NeckHeight
	brow := head + d.HeadHeight
	return []solid{
		{part: Trunk, low: 0, high: neck, a: d.TrunkHalfWidth, b: d.TrunkHalfDepth},
		{part: Neck, low: neck, high: head, a: d.NeckRadius, b: d.NeckRadius},
		{part: Head, low: head, high: brow, a: d.HeadHalfWidth, b: d.HeadHalfDepth},
		{part: Head, low: brow, high: brow + d.HeadCap, a: d.HeadHalfWidth, b: d.HeadHalfDepth, c: d.HeadCap, z0: brow},
		{part: LegLeft, low: -d.LegLength, high: 0, a: d.TrunkHalfWidth / 2, c: d.LegTaper, side: 1},
		{part: LegRight, low: -d.LegLength, high: 0, a: d.TrunkHalfWidth / 2, c: d.LegTaper, side: -1},
	}
}
