package body

import "math"

// Sheet is one part of the skin unrolled into the plane for a picture, cut open along the front. Patch.Across is
// measured from the sheet's own posterior midline, which the picture puts at Midline; Patch.Up needs no shift.
type Sheet struct {
	Part Part
	Name string
	// Midline is where the sheet's posterior midline stands in the picture, mm, the patient's left positive.
	Midline float64
	// Low and High are the sheet's extent in Up, mm.
	Low, High float64

	outline func(up float64) float64
}

// HalfWidth gives half the sheet's width in mm at a height of the map; 0 beyond the sheet.
func (s Sheet) HalfWidth(up float64) float64 {
	if up < s.Low || up > s.High {
		return 0
	}
	return s.outline(up)
}

// Sheets gives the parts of the unrolled map, head up: trunk with shoulders, neck, head with its underside, legs, and arms
// where the body has them.
func (b *Body) Sheets() []Sheet { return append([]Sheet(nil), b.sheets...) }

// layout says at which heights of the map the surfaces begin. The rings of shoulders and chin lie flat in the body and
// take up height on the map, so everything above them is shifted.
type layout struct {
	trunk, shoulder, neck, chin, head, crown float64
	sheets                                   []Sheet
}

// legGap is the empty strip between the unrolled legs, mm.
const legGap = 20.0

func newLayout(d Dimensions) layout {
	trunk := ellipse{d.TrunkHalfWidth, d.TrunkHalfDepth}
	head := ellipse{d.HeadHalfWidth, d.HeadHalfDepth}
	var l layout
	l.shoulder = d.TrunkHeight
	l.neck = l.shoulder + (d.TrunkHalfWidth+d.TrunkHalfDepth)/2 - d.NeckRadius
	l.chin = l.neck + d.NeckHeight
	l.head = l.chin + (d.HeadHalfWidth+d.HeadHalfDepth)/2 - d.NeckRadius
	l.crown = l.head + d.HeadHeight
	meridian := ellipse{d.HeadCap, math.Sqrt(d.HeadHalfWidth * d.HeadHalfDepth)}
	top := l.crown + meridian.arc(math.Pi/2)
	radius := d.TrunkHalfWidth / 2
	legHalf := func(up float64) float64 { return math.Pi * radius * (1 + up/d.LegTaper) }
	legMid := legHalf(0) + legGap/2
	l.sheets = []Sheet{
		{Part: Trunk, Name: "trunk", Low: 0, High: l.neck, outline: func(up float64) float64 {
			return ring(trunk, d.NeckRadius, (up-l.shoulder)/(l.neck-l.shoulder)).perimeter() / 2
		}},
		{Part: Neck, Name: "neck", Low: l.neck, High: l.chin, outline: func(float64) float64 { return math.Pi * d.NeckRadius }},
		{Part: Head, Name: "head", Low: l.chin, High: top, outline: func(up float64) float64 {
			if up > l.crown {
				return math.Cos(meridian.parameter(up-l.crown)) * head.perimeter() / 2
			}
			return ring(head, d.NeckRadius, (l.head-up)/(l.head-l.chin)).perimeter() / 2
		}},
		{Part: LegLeft, Name: "left leg", Midline: legMid, Low: -d.LegLength, High: 0, outline: legHalf},
		{Part: LegRight, Name: "right leg", Midline: -legMid, Low: -d.LegLength, High: 0, outline: legHalf},
	}
	return l
}

// ring is the outline at a fraction of the way from a rim to the neck; at and before the rim it is the rim.
func ring(rim ellipse, neck, fraction float64) ellipse {
	f := max(fraction, 0)
	return ellipse{rim.a - f*(rim.a-neck), rim.b - f*(rim.b-neck)}
}
