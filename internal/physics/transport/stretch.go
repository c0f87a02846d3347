package transport

import "gonum.org/v1/gonum/spatial/r3"

// Stretch makes the adult stylised body that of another person, eq. (10.1): each of its three zones is scaled along its own
// axes, the trunk and the legs from the trunk's base, the head from the trunk's top.
//
// Source: Cristy M, Eckerman K F 1987, ORNL/TM-8381: places of organs in the trunk of the 15-year-old follow from the adult's
// by the ratios of the trunks; known: read for that age, taken over for all. Organs keep the adult's share of the body, which
// the sources adjust by up to 10 % of a length.
type Stretch struct {
	// Trunk, Head and Legs are the factors left-right, front-back and along the body.
	Trunk, Head, Legs r3.Vec
}

// adultTrunk is the height of the adult's trunk in mm.
const adultTrunk = 700

// Stretched gives the regions of another person's body; regions are those of Phantom.
func (s Stretch) Stretched(regions []Region) []Region {
	out := make([]Region, len(regions))
	for i, r := range regions {
		by, base := s.Trunk, 0.0
		switch middle := (r.Low.Z + r.High.Z) / 2; {
		case middle > adultTrunk:
			by, base = s.Head, adultTrunk*(s.Trunk.Z-s.Head.Z)
		case middle < 0:
			by = s.Legs
		}
		out[i] = r.stretched(by, base)
	}
	return out
}

// stretched scales a region about the origin and lifts it by base.
func (r Region) stretched(by r3.Vec, base float64) Region {
	place := func(p r3.Vec) r3.Vec { return r3.Vec{X: by.X * p.X, Y: by.Y * p.Y, Z: by.Z*p.Z + base} }
	r.Low, r.High = place(r.Low), place(r.High)
	r.Volume *= by.X * by.Y * by.Z
	quadrics := make([]Quadric, len(r.Quadrics))
	for i, q := range r.Quadrics {
		quadrics[i] = q.stretched(by, base)
	}
	r.Quadrics = quadrics
	return r
}

// stretched is the condition on the point's place after the scaling: what it asked of the place before.
func (q Quadric) stretched(by r3.Vec, base float64) Quadric {
	a, b, c := 1/by.X, 1/by.Y, 1/by.Z
	s := Quadric{XX: q.XX * a * a, YY: q.YY * b * b, ZZ: q.ZZ * c * c, XY: q.XY * a * b, YZ: q.YZ * b * c, XZ: q.XZ * a * c}
	s.X = q.X*a - s.XZ*base
	s.Y = q.Y*b - s.YZ*base
	s.Z = q.Z*c - 2*s.ZZ*base
	s.C = q.C - q.Z*c*base + s.ZZ*base*base
	return s
}
