package body

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// words are the names of one level of the body by sector: at the posterior midline, posterior off the midline, at the
// side, anterior off the midline, at the anterior midline. The side is put before the names that want one.
type words struct {
	top                                              float64 // fraction of the part's height below which it holds
	posteriorMid, posterior, lateral, anterior, midA string
}

// The levels, low to high; judgement after the landmarks of the stylised phantom.
var (
	trunkLevels = [...]words{
		{15.0 / 70, "lower sacrum", "buttock", "hip", "groin", "pubic region"},
		{27.0 / 70, "lower back, midline", "lower back", "lower flank", "lower abdomen", "lower abdomen, midline"},
		{43.0 / 70, "middle back, midline", "middle back", "flank", "upper abdomen", "upper abdomen, midline"},
		{60.0 / 70, "posterior chest, midline", "posterior chest", "lateral chest", "anterior chest", "breastbone"},
		{2, "upper back, midline", "upper back", "armpit", "upper anterior chest", "upper breastbone"},
	}
	shoulderLevel = words{2, "base of the neck, posterior", "shoulder, posterior", "shoulder", "shoulder, anterior", "base of the neck, anterior"}
	neckLevel     = words{2, "posterior neck", "posterior neck", "side of the neck", "anterior neck", "anterior neck"}
	chinLevel     = words{2, "base of the skull", "base of the skull", "jaw angle", "underside of the jaw", "underside of the chin"}
	headLevels    = [...]words{
		{0.5, "posterior head", "posterior head", "side of the head", "face", "face, midline"},
		{0.75, "posterior head", "posterior head", "temple", "forehead", "forehead"},
		{2, "crown", "crown", "crown", "crown", "crown"},
	}
	legLevels = [...]words{
		{0.08, "foot", "foot", "foot", "foot", "foot"},
		{0.50, "calf", "calf", "lower leg", "shin", "shin"},
		{0.62, "back of the knee", "back of the knee", "knee", "front of the knee", "front of the knee"},
		{2, "back of the thigh", "back of the thigh", "thigh", "front of the thigh", "front of the thigh"},
	}
)

// region names a patch's place.
func (b *Body) region(p *Patch) string {
	d := b.Dimensions
	switch p.Part {
	case Trunk:
		if p.Normal.Z > 0.5 {
			return shoulderLevel.at(p.Centre, d.TrunkHalfWidth, d.TrunkHalfDepth)
		}
		return level(trunkLevels[:], p.Centre.Z/d.TrunkHeight).at(p.Centre, d.TrunkHalfWidth, d.TrunkHalfDepth)
	case Neck:
		return neckLevel.at(p.Centre, 1, 1)
	case Head:
		if p.Normal.Z < -0.5 {
			return chinLevel.at(p.Centre, d.HeadHalfWidth, d.HeadHalfDepth)
		}
		f := (p.Centre.Z - d.TrunkHeight - d.NeckHeight) / (d.HeadHeight + d.HeadCap)
		return level(headLevels[:], f).at(p.Centre, d.HeadHalfWidth, d.HeadHalfDepth)
	case LegLeft, LegRight:
		return legRegion(p, d)
	case UpperArmLeft, UpperArmRight, ForearmLeft, ForearmRight:
	}
	return b.armRegion(p)
}

func level(levels []words, fraction float64) words {
	for _, l := range levels {
		if fraction < l.top {
			return l
		}
	}
	return levels[len(levels)-1]
}

// The sectors by the angle t of eq. (5.3), from the posterior midline.
const (
	midline = 8 * math.Pi / 180
	broad   = 60 * math.Pi / 180
)

// at names the sector a point lies in, with its side.
func (w words) at(p r3.Vec, a, b float64) string {
	t := math.Atan2(p.X/a, p.Y/b)
	side := "right "
	if t > 0 {
		side = "left "
	}
	switch around := math.Abs(t); {
	case around < midline:
		return w.posteriorMid
	case around < broad:
		return side + w.posterior
	case around < math.Pi-broad:
		return side + w.lateral
	case around < math.Pi-midline:
		return side + w.anterior
	}
	return w.midA
}

// legRegion names a place on a leg by its own midline; its sides are inner and outer.
func legRegion(p *Patch, d Dimensions) string {
	side, sign := "left ", 1.0
	if p.Part == LegRight {
		side, sign = "right ", -1
	}
	w := level(legLevels[:], 1+p.Centre.Z/d.LegLength)
	radius := d.TrunkHalfWidth / 2 * (1 + p.Centre.Z/d.LegTaper)
	t := math.Atan2(p.Centre.X-sign*radius, p.Centre.Y)
	switch around := math.Abs(t); {
	case around < broad:
		return side + w.posterior
	case around > math.Pi-broad:
		return side + w.anterior
	case t*sign > 0:
		return side + "outer " + w.lateral + ", side"
	}
	return side + "inner " + w.lateral + ", side"
}
