package paper

import (
	"math"

	"afterbeam/internal/physics/body"
)

// outline is the right half of a standing figure, x from its midline and y from the soles up, in heights of the figure; drawn
// by eye, no source. It shows where to look and measures nothing.
func outline() []Point {
	return []Point{
		{0, 1},
		{0.032, 0.992},
		{0.050, 0.965},
		{0.053, 0.930},
		{0.044, 0.897},
		{0.031, 0.875},
		{0.032, 0.855},
		{0.062, 0.836},
		{0.108, 0.820},
		{0.134, 0.793},
		{0.147, 0.735},
		{0.160, 0.655},
		{0.176, 0.560},
		{0.190, 0.490},
		{0.190, 0.455},
		{0.176, 0.450},
		{0.164, 0.490},
		{0.148, 0.565},
		{0.130, 0.655},
		{0.112, 0.735},
		{0.104, 0.700},
		{0.095, 0.625},
		{0.102, 0.550},
		{0.108, 0.490},
		{0.102, 0.390},
		{0.087, 0.285},
		{0.083, 0.205},
		{0.058, 0.065},
		{0.068, 0.018},
		{0.052, 0},
		{0.022, 0},
		{0.018, 0.050},
		{0.020, 0.200},
		{0.018, 0.300},
		{0.010, 0.420},
		{0, 0.465},
	}
}

// The figure's landmarks in its heights, and half the width of its trunk.
const (
	soles, crotch, shoulder, top = 0.0, 0.465, 0.836, 1.0
	halfTrunk, halfHead          = 0.104, 0.053
)

// The drawing, in mm.
const (
	figureHeight = 50.0
	figureEvery  = 44.0 // from the midline of one figure to that of the next
	drawnWidth   = 2 * figureEvery
	drawnHeight  = figureHeight + 9
	markRadius   = 3.8
)

// smooth rounds a closed outline by a Catmull-Rom spline through its points.
func smooth(p []Point) []Point {
	const parts = 6
	n := len(p)
	out := make([]Point, 0, parts*n)
	for i := range p {
		a, b, c, d := p[(i+n-1)%n], p[i], p[(i+1)%n], p[(i+2)%n]
		for k := range parts {
			t := float64(k) / parts
			at := func(a, b, c, d float64) float64 {
				return b + 0.5*t*(c-a+t*(2*a-5*b+4*c-d+t*(3*(b-c)+d-a)))
			}
			out = append(out, Point{at(a.X, b.X, c.X, d.X), at(a.Y, b.Y, c.Y, d.Y)})
		}
	}
	return out
}

// figure draws the outline with its midline at x.
func figure(x float64) Shape {
	half := outline()
	whole := append([]Point{}, half...)
	for i := len(half) - 2; i > 0; i-- {
		whole = append(whole, Point{-half[i].X, half[i].Y})
	}
	points := smooth(whole)
	for i, p := range points {
		points[i] = onPaper(x, p)
	}
	return Shape{Points: points, Fill: 0.95, Line: 0.35}
}

func onPaper(x float64, p Point) Point {
	return Point{x + p.X*figureHeight, 1 + (1-p.Y)*figureHeight}
}

// drawing shows the place to look at on the back or the front of a figure, where the estimate knows it.
func (c *composer) drawing() (Drawing, bool) {
	m := c.Assessment.SkinDose.Map
	if m == nil || m.Peak < 0 {
		return Drawing{}, false
	}
	peak, d := &m.Body.Patches[m.Peak], m.Body.Dimensions
	back, front := figureEvery/2, 1.5*figureEvery
	at, behind := spot(peak, d)
	where, view := onPaper(back, at), "drawing.back"
	if !behind {
		where, view = onPaper(front, Point{-at.X, at.Y}), "drawing.front"
	}
	mark := Shape{Fill: 0.55, Line: 0, Bold: true}
	const corners = 32
	for i := range corners {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / corners)
		mark.Points = append(mark.Points, Point{where.X + markRadius*cos, where.Y + markRadius*sin})
	}
	const side = 14.5
	below, beside := figureHeight+6, 0.55*figureHeight
	return Drawing{
		Width: drawnWidth, Height: drawnHeight, Shapes: []Shape{figure(back), figure(front), mark},
		Labels: []Label{
			{Point{back, below}, c.text("drawing.back")},
			{Point{front, below}, c.text("drawing.front")},
			{Point{back - side, beside}, c.text("drawing.left")},
			{Point{back + side, beside}, c.text("drawing.right")},
			{Point{front - side, beside}, c.text("drawing.right")},
			{Point{front + side, beside}, c.text("drawing.left")},
		},
		Alt: c.text("drawing.alt", "view", c.text(view), "place", c.region(peak.Region)),
	}, true
}

// spot gives where on the figure seen from behind a patch lies, and whether it is seen from there. From behind the patient's
// left is on the viewer's left.
func spot(p *body.Patch, d body.Dimensions) (at Point, behind bool) {
	z := p.Centre.Z
	var y, x float64
	switch {
	case z < 0:
		y, x = crotch+(crotch-soles)*math.Max(z/d.LegLength, -1), p.Centre.X/d.TrunkHalfWidth*halfTrunk
	case z < d.TrunkHeight:
		y, x = crotch+(shoulder-crotch)*z/d.TrunkHeight, p.Centre.X/d.TrunkHalfWidth*halfTrunk
	default:
		above := d.NeckHeight + d.HeadHeight + d.HeadCap
		y, x = shoulder+(top-shoulder)*(z-d.TrunkHeight)/above, p.Centre.X/d.HeadHalfWidth*halfHead
	}
	return Point{-x, y}, p.Normal.Y > -0.1
}
