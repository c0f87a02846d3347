package body

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// Site gives the point of the body axes that lies at the isocentre when a place of the body is imaged: in the
// mid-plane, laterally centred except where the organ lies to one side. ok is false for a place it does not know.
//
// Heights above the trunk base on the adult trunk of 70 cm are judgement after the organ positions of the phantom; they
// scale with the trunk, neck or head they lie in. The places: heart, arch, visceral_aorta, infrarenal_aorta, iliac,
// pelvis, groin, liver, neck, brain, lower_limb (mid-length of the legs, between them).
func (b *Body) Site(place string) (r3.Vec, bool) {
	d := b.Dimensions
	trunk := func(cm float64) (r3.Vec, bool) { return r3.Vec{Z: cm / 70 * d.TrunkHeight}, true }
	switch place {
	case "heart":
		return trunk(51)
	case "arch":
		return trunk(60)
	case "visceral_aorta":
		return trunk(35)
	case "infrarenal_aorta":
		return trunk(27)
	case "iliac":
		return trunk(18)
	case "pelvis":
		return trunk(12)
	case "groin":
		return trunk(0)
	case "liver": // 8 cm to the right of 20 cm
		v, _ := trunk(36)
		v.X = -8.0 / 20 * d.TrunkHalfWidth
		return v, true
	case "neck": // 74 cm on the adult: 4 of the neck's 8.4 cm
		return r3.Vec{Z: d.TrunkHeight + 4/8.4*d.NeckHeight}, true
	case "brain": // 90 cm on the adult: 11.6 of the head's 20.2 cm
		return r3.Vec{Z: d.TrunkHeight + d.NeckHeight + 11.6/20.2*(d.HeadHeight+d.HeadCap)}, true
	case "lower_limb":
		return r3.Vec{Z: -d.LegLength / 2}, true
	}
	return r3.Vec{}, false
}

// Places lists the places that Site knows.
func Places() []string {
	return []string{
		"brain", "neck", "arch", "heart", "liver", "visceral_aorta", "infrarenal_aorta", "iliac", "pelvis", "groin", "lower_limb",
	}
}

// IsPlace tells whether there is such a place.
func IsPlace(place string) bool { return slices.Contains(Places(), place) }
