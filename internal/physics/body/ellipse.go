package body

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// ellipse is a horizontal outline with half-width a (left-right) and half-depth b (front-back). Its parameter t runs
// from the posterior midline towards the patient's left: x = a sin t, y = b cos t, eq. (5.3).
type ellipse struct{ a, b float64 }

// perimeter is the length of the whole outline.
func (e ellipse) perimeter() float64 { return 4 * e.arc(math.Pi/2) }

// arc is the length along the outline from the posterior midline to t in [-pi, pi], with the sign of t.
func (e ellipse) arc(t float64) float64 {
	if t < 0 {
		return -e.arc(-t)
	}
	m := 1 - e.b*e.b/(e.a*e.a)
	if t <= math.Pi/2 {
		return e.a * mathext.EllipticE(t, m)
	}
	return e.a * (2*mathext.EllipticE(math.Pi/2, m) - mathext.EllipticE(math.Pi-t, m))
}

// speed is d(arc)/dt.
func (e ellipse) speed(t float64) float64 {
	sin, cos := math.Sincos(t)
	return math.Hypot(e.a*cos, e.b*sin)
}

// parameter is the inverse of arc, found by Newton's steps: arc is smooth and never flat.
func (e ellipse) parameter(s float64) float64 {
	t := 2 * math.Pi * s / e.perimeter()
	for range 20 {
		step := (e.arc(t) - s) / e.speed(t)
		t -= step
		if math.Abs(step) < 1e-12 {
			break
		}
	}
	return t
}
