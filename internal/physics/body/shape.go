package body

import "gonum.org/v1/gonum/spatial/r3"

// Body axes are those of the patient in millimetres: X is left, Y is posterior, Z is head, with the origin on the body
// axis at the trunk base.

// Part is a piece of the body's surface.
type Part uint8

// The parts.
const (
	Trunk Part = iota
	Neck
	Head
	LegLeft
	LegRight
	UpperArmLeft
	UpperArmRight
	ForearmLeft
	ForearmRight
)

// Patch is one small piece of skin.
type Patch struct {
	Centre r3.Vec  // mm, body axes
	Normal r3.Vec  // unit, outward
	Area   float64 // cm2
	Part   Part
	// Region names the place in words, such as "left posterior chest".
	Region string
	// Across and Up are the place on the unrolled map in mm: posterior midline at 0, the patient's left positive, head
	// up, measured along the skin from the part's own posterior midline.
	Across, Up float64
}

// OnLimb tells whether the part is a leg or a piece of an arm, which have midlines of their own.
func (p Part) OnLimb() bool { return p >= LegLeft }

// OnArm tells whether the part is a piece of an arm.
func (p Part) OnArm() bool { return p >= UpperArmLeft }

// String names the part for people.
func (p Part) String() string {
	switch p {
	case Trunk:
		return "trunk"
	case Neck:
		return "neck"
	case Head:
		return "head"
	case LegLeft:
		return "left leg"
	case LegRight:
		return "right leg"
	case UpperArmLeft:
		return "left upper arm"
	case UpperArmRight:
		return "right upper arm"
	case ForearmLeft:
		return "left forearm and hand"
	case ForearmRight:
		return "right forearm and hand"
	}
	return "unknown part"
}
