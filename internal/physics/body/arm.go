package body

import "math"

// armWords says which parts the body has.
func (s Size) armWords() string {
	if !s.ArmsAlongside {
		return "stylised body of trunk, neck, head and legs; arms raised out of the beam"
	}
	return "stylised body of trunk, neck, head, legs and arms alongside, straight and 1 cm beside the trunk in its mid-plane (judgement); " +
		"the trunk's width holds the arms too, so that their skin lies up to 5 cm nearer to a tube at the side than on a person of that build"
}

// arm is one piece of an arm that lies straight beside the trunk: an upright circular cylinder.
type arm struct {
	part      Part
	x, radius float64 // of the axis, left positive, and around it, mm
	low, high float64 // mm above the trunk base
}

// The arm of the adult trunk of 20 by 70 cm, scaled with the trunk's half-width and height, eq. (5.21).
//
// Source: lengths from the top of the shoulder to the elbow and on to the finger tips after Pheasant 1986, Bodyspace, British
// standing men, 36.5 and 47.5 cm, less what the round shoulder takes; radii so that the masses are those of de Leva 1996, J Biomech
// 29:1223 (upper arm 2.71 %, forearm with hand 2.23 % of the body, at 1.05 g/cm3), rounded; all from memory. The gap beside
// the trunk, and the axis in the mid-plane, are judgement.
const (
	armTop, elbow, fingertip    = 68.0 / 70, 34.0 / 70, -11.0 / 70
	upperArmRadius, lowerRadius = 4.3 / 20, 3.3 / 20
	armGap                      = 1.0 / 20
)

// armsOf gives the pieces of both arms, left before right.
func armsOf(d Dimensions) []arm {
	w, h := d.TrunkHalfWidth, d.TrunkHeight
	axis := (1 + armGap + upperArmRadius) * w
	return []arm{
		{UpperArmLeft, axis, upperArmRadius * w, elbow * h, armTop * h},
		{UpperArmRight, -axis, upperArmRadius * w, elbow * h, armTop * h},
		{ForearmLeft, axis, lowerRadius * w, fingertip * h, elbow * h},
		{ForearmRight, -axis, lowerRadius * w, fingertip * h, elbow * h},
	}
}

// solid is the piece as it throws shadows.
func (a arm) solid() solid {
	return solid{part: a.part, low: a.low, high: a.high, a: a.radius, b: a.radius, x0: a.x}
}

// side cuts the skin around a piece; its flat ends carry none.
func (a arm) side(edge float64) []row {
	rows := cylinder(a.part, ellipse{a.radius, a.radius}, a.low, a.high-a.low, a.low, edge)
	for _, r := range rows {
		for i := range r.patches {
			r.patches[i].Centre.X += a.x
		}
	}
	return rows
}

// sheet lays a piece out beside trunk and legs.
func (a arm) sheet(d Dimensions) Sheet {
	trunk := ellipse{d.TrunkHalfWidth, d.TrunkHalfDepth}.perimeter() / 2
	legs := legGap/2 + math.Pi*d.TrunkHalfWidth
	midline := max(trunk, legs) + legGap + math.Pi*upperArmRadius*d.TrunkHalfWidth
	return Sheet{
		Part: a.part, Name: a.part.String(), Midline: math.Copysign(midline, a.x), Low: a.low, High: a.high,
		outline: func(float64) float64 { return math.Pi * a.radius },
	}
}

// wrist is where the hand begins, as a part of the trunk's height.
// Source: hand length 19 cm, Pheasant 1986, from memory.
const wrist = 8.0 / 70

// armRegion names a place on an arm by the arm's own midline; its sides are inner and outer.
func (b *Body) armRegion(p *Patch) string {
	side, sign, piece := "left", 1.0, "forearm"
	switch {
	case p.Part == UpperArmLeft || p.Part == UpperArmRight:
		piece = "upper arm"
	case p.Centre.Z < wrist*b.Dimensions.TrunkHeight:
		piece = "hand"
	}
	if p.Part == UpperArmRight || p.Part == ForearmRight {
		side, sign = "right", -1
	}
	where := "inner side"
	t := math.Atan2(p.Normal.X, p.Normal.Y)
	switch around := math.Abs(t); {
	case around < broad:
		where = "back"
	case around > math.Pi-broad:
		where = "front"
	case t*sign > 0:
		where = "outer side"
	}
	return side + " " + piece + ", " + where
}
