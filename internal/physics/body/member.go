package body

import (
	"fmt"
	"math"
	"strings"

	"afterbeam/internal/quantity"
)

// Dimensions are the lengths of a body in mm, as scaled: half-widths are along left-right, half-depths along
// front-back, heights along the body.
type Dimensions struct {
	TrunkHalfWidth, TrunkHalfDepth, TrunkHeight       float64
	NeckRadius, NeckHeight                            float64
	HeadHalfWidth, HeadHalfDepth, HeadHeight, HeadCap float64
	// LegLength is how far the legs reach; LegTaper is the distance below the trunk at which their cone ends in a
	// point. A leg is a circle of diameter TrunkHalfWidth (1 + z/LegTaper) that touches the midline, eq. (5.1).
	LegLength, LegTaper float64
}

// Height is the standing height in mm.
func (d Dimensions) Height() float64 {
	return d.LegLength + d.TrunkHeight + d.NeckHeight + d.HeadHeight + d.HeadCap
}

// member is one age of the phantom family, in cm, with its age in years and its mass in kg.
type member struct {
	name   string
	age    float64
	mass   float64
	height float64 // reference for scaling along the body
	d      Dimensions
}

// members are the phantom family.
//
// Source: Cristy M, Eckerman KF 1987, Specific absorbed fractions of energy at various ages from internal photon
// sources, ORNL/TM-8381, body section tables; known from memory. Masses: the same, from memory; the adult reference of
// 73 kg and 178.6 cm likewise.
func members() []member {
	return []member{
		{"newborn", 0, 3.6, 50.96, Dimensions{6.35, 4.90, 21.6, 2.8, 1.56, 4.52, 5.78, 7.01, 3.99, 16.8, 21.6}},
		{"1 year", 1, 9.72, 74.41, Dimensions{8.80, 6.50, 30.7, 3.6, 2.30, 6.13, 7.84, 9.50, 5.41, 26.5, 37.1}},
		{"5 years", 5, 19.8, 109.11, Dimensions{11.45, 7.50, 40.8, 3.8, 3.30, 7.13, 9.05, 10.70, 6.31, 48, 65}},
		{"10 years", 10, 33.2, 139.77, Dimensions{13.90, 8.40, 50.8, 4.4, 4.70, 7.43, 9.40, 11.68, 6.59, 66, 90}},
		{"15 years", 15, 56.8, 168.07, Dimensions{17.25, 9.80, 63.1, 5.2, 7.70, 7.77, 9.76, 12.35, 6.92, 78, 100}},
		{"adult", 20, 73, 178.6, Dimensions{20, 10, 70, 5.4, 8.40, 8, 10, 13.05, 7.15, 80, 100}},
	}
}

// The bounds outside which a size is not believed: what people can have, with room; common practice, no source.
const (
	minHeightCm, maxHeightCm = 30, 220
	minMassKg, maxMassKg     = 0.5, 350
	minBMI, maxBMI           = 10, 80
	maxAge                   = 130
)

// Size is what is known of the patient's age and build.
type Size struct {
	AgeYears quantity.Opt[float64]
	Height   quantity.Opt[quantity.Millimetre]
	Weight   quantity.Opt[quantity.Kilogram]
	// ArmsAlongside puts arms beside the trunk; otherwise they are raised and no part of the body.
	ArmsAlongside bool
}

// believed drops what a person cannot have and says so.
func (s Size) believed() (Size, []string) {
	var said []string
	if age, ok := s.AgeYears.Get(); ok && !(age >= 0 && age <= maxAge) {
		s.AgeYears = quantity.None[float64]()
		said = append(said, "the age given is not one a person can have and is not used")
	}
	height, hasHeight := s.Height.Get()
	if hasHeight && !(height.Cm() >= minHeightCm && height.Cm() <= maxHeightCm) {
		s.Height, hasHeight = quantity.None[quantity.Millimetre](), false
		said = append(said, "the height given is outside 30 to 220 cm and is not used")
	}
	weight, hasWeight := s.Weight.Get()
	if hasWeight && !(weight >= minMassKg && weight <= maxMassKg) {
		s.Weight, hasWeight = quantity.None[quantity.Kilogram](), false
		said = append(said, "the weight given is outside 0.5 to 350 kg and is not used")
	}
	if hasHeight && hasWeight {
		m := height.Cm() / 100
		if bmi := float64(weight) / (m * m); bmi < minBMI || bmi > maxBMI {
			s.Height, s.Weight = quantity.None[quantity.Millimetre](), quantity.None[quantity.Kilogram]()
			said = append(said, "height and weight together give a body mass index outside 10 to 80 and are not used")
		}
	}
	return s, said
}

// choose gives the member of an age, or a body between the two whose ages lie around it, eq. (5.20).
func choose(age quantity.Opt[float64]) (member, string) {
	family := members()
	adult := family[len(family)-1]
	years, ok := age.Get()
	if !ok {
		return adult, "age unknown: the adult body is taken"
	}
	for i, m := range family {
		switch {
		case years == m.age:
			return m, ""
		case years < m.age:
			younger := family[i-1]
			return younger.toward(m, years), fmt.Sprintf("age %s years: a body between those of %s and %s of the phantom family", quantity.Fixed(years, 1), younger.name, m.name)
		}
	}
	return adult, ""
}

// toward gives the body of an age between two members, each length, mass and height linear in age.
func (m member) toward(older member, years float64) member {
	f := (years - m.age) / (older.age - m.age)
	between := func(a, b float64) float64 { return a + f*(b-a) }
	a, b := m.d, older.d
	return member{
		name: strings.TrimSuffix(quantity.Fixed(years, 1), ".0") + " years", age: years, mass: between(m.mass, older.mass), height: between(m.height, older.height),
		d: Dimensions{
			TrunkHalfWidth: between(a.TrunkHalfWidth, b.TrunkHalfWidth), TrunkHalfDepth: between(a.TrunkHalfDepth, b.TrunkHalfDepth),
			TrunkHeight: between(a.TrunkHeight, b.TrunkHeight), NeckRadius: between(a.NeckRadius, b.NeckRadius), NeckHeight: between(a.NeckHeight, b.NeckHeight),
			HeadHalfWidth: between(a.HeadHalfWidth, b.HeadHalfWidth), HeadHalfDepth: between(a.HeadHalfDepth, b.HeadHalfDepth),
			HeadHeight: between(a.HeadHeight, b.HeadHeight), HeadCap: between(a.HeadCap, b.HeadCap),
			LegLength: between(a.LegLength, b.LegLength), LegTaper: between(a.LegTaper, b.LegTaper),
		},
	}
}

// scaled fits a member to a size, eq. (5.2): along the body by the height, in the plane so that the volume follows the
// mass. It returns dimensions in mm and says what was missing.
func (m member) scaled(size Size) (Dimensions, string, []string) {
	var said []string
	height, hasHeight := size.Height.Get()
	weight, hasWeight := size.Weight.Get()
	along, inPlane := 1.0, 1.0
	name := fmt.Sprintf("%s %s kg %s cm", m.name, plain(m.mass), plain(m.height))
	if hasHeight {
		along = height.Cm() / m.height
	} else {
		said = append(said, "height unknown: that of the "+m.name+" body, "+plain(m.height)+" cm, is taken")
	}
	if hasWeight {
		inPlane = math.Sqrt(float64(weight) / m.mass / along)
	} else {
		said = append(said, "weight unknown: width and depth of the "+m.name+" body are taken")
	}
	switch {
	case hasHeight && hasWeight:
		name += fmt.Sprintf(", scaled to %s kg %s cm", plain(float64(weight)), plain(height.Cm()))
	case hasHeight:
		name += fmt.Sprintf(", scaled to %s cm", plain(height.Cm()))
	case hasWeight:
		name += fmt.Sprintf(", scaled to %s kg", plain(float64(weight)))
	default:
		name += ", not scaled"
	}
	const mm = 10
	p, a := inPlane*mm, along*mm
	d := m.d
	return Dimensions{
		TrunkHalfWidth: d.TrunkHalfWidth * p, TrunkHalfDepth: d.TrunkHalfDepth * p, TrunkHeight: d.TrunkHeight * a,
		NeckRadius: d.NeckRadius * p, NeckHeight: d.NeckHeight * a,
		HeadHalfWidth: d.HeadHalfWidth * p, HeadHalfDepth: d.HeadHalfDepth * p, HeadHeight: d.HeadHeight * a, HeadCap: d.HeadCap * a,
		LegLength: d.LegLength * a, LegTaper: d.LegTaper * a,
	}, name, said
}

// plain prints a number with at most one decimal.
func plain(v float64) string {
	if v == math.Trunc(v) {
		return quantity.Fixed(v, 0)
	}
	return quantity.Fixed(v, 1)
}
