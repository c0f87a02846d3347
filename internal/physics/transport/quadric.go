package transport

import "gonum.org/v1/gonum/spatial/r3"

// Quadric is a condition on a point in mm: XX x2 + YY y2 + ZZ z2 + XY x y + YZ y z + XZ x z + X x + Y y + Z z + C <= 0.
type Quadric struct{ XX, YY, ZZ, XY, YZ, XZ, X, Y, Z, C float64 }

// Beneath is the half space of the points p with (p - at) . normal <= 0.
func Beneath(at, normal r3.Vec) Quadric {
	return Quadric{X: normal.X, Y: normal.Y, Z: normal.Z, C: -r3.Dot(at, normal)}
}

func (q *Quadric) at(x, y, z float64) float64 {
	return x*(q.XX*x+q.XY*y+q.XZ*z+q.X) + y*(q.YY*y+q.YZ*z+q.Y) + z*(q.ZZ*z+q.Z) + q.C
}

// span is an interval.
type span struct{ low, high float64 }

func (s span) plus(t span) span { return span{s.low + t.low, s.high + t.high} }

// parabola is the range of a v2 + b v over an interval of v.
func parabola(a, b float64, v span) span {
	f := func(v float64) float64 { return v * (a*v + b) }
	first, last := f(v.low), f(v.high)
	out := span{min(first, last), max(first, last)}
	if a != 0 {
		if top := -b / (2 * a); top > v.low && top < v.high {
			out = span{min(out.low, f(top)), max(out.high, f(top))}
		}
	}
	return out
}

// product is the range of c u v over intervals of u and v.
func product(c float64, u, v span) span {
	a, b, d, e := c*u.low*v.low, c*u.low*v.high, c*u.high*v.low, c*u.high*v.high
	return span{min(a, b, d, e), max(a, b, d, e)}
}

// over is an interval that holds the quadric's values in a box.
func (q *Quadric) over(x, y, z span) span {
	s := parabola(q.XX, q.X, x).plus(parabola(q.YY, q.Y, y)).plus(parabola(q.ZZ, q.Z, z))
	s = s.plus(product(q.XY, x, y)).plus(product(q.YZ, y, z)).plus(product(q.XZ, x, z))
	return s.plus(span{q.C, q.C})
}
