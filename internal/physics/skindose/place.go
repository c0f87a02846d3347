package skindose

import (
	"fmt"
	"math"
	"strings"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/quantity"
)

// Place is where on the body a patch lies, in words.
type Place struct {
	// Region is the body's name of the place, such as "left posterior chest".
	Region string `json:"region"`
	// Side says how far from the midline, such as "6 cm left of the posterior midline".
	Side string `json:"side"`
	// Level says how far along the body, such as "48 cm above the trunk base".
	Level string `json:"level"`
}

// String joins the three, or is "" for no place.
func (p Place) String() string {
	if p.Region == "" {
		return ""
	}
	if strings.HasPrefix(p.Side, "on the ") && strings.Contains(p.Region, "midline") {
		return p.Region + ", " + p.Level
	}
	return p.Region + ", " + p.Side + ", " + p.Level
}

// PlaceOf gives the place of a patch of a body, by its index.
func PlaceOf(b *body.Body, patch int) Place {
	p := &b.Patches[patch]
	var side string
	switch {
	case p.Part.OnArm():
		side = offMidline(p.Across, "midline of the arm's back along the skin")
	case p.Part.OnLimb():
		side = offMidline(p.Across, "midline of the leg's back along the skin")
	case p.Normal.Y < 0:
		side = offMidline(p.Centre.X, "anterior midline")
	default:
		side = offMidline(p.Across, "posterior midline along the skin")
	}
	return Place{Region: p.Region, Side: side, Level: levelOf(p, b.Dimensions)}
}

func offMidline(mm float64, midline string) string {
	cm := quantity.Fixed(math.Abs(quantity.Millimetre(mm).Cm()), 0)
	if cm == "0" {
		return "on the " + strings.TrimSuffix(midline, " along the skin")
	}
	side := "right"
	if mm > 0 {
		side = "left"
	}
	return fmt.Sprintf("%s cm %s of the %s", cm, side, midline)
}

// levelOf counts from the trunk base, on the head from its top.
func levelOf(p *body.Patch, d body.Dimensions) string {
	if p.Part == body.Head {
		top := d.TrunkHeight + d.NeckHeight + d.HeadHeight + d.HeadCap
		return quantity.Fixed(quantity.Millimetre(top-p.Centre.Z).Cm(), 0) + " cm below the top of the head"
	}
	cm := quantity.Fixed(math.Abs(quantity.Millimetre(p.Centre.Z).Cm()), 0)
	switch {
	case cm == "0":
		return "at the trunk base"
	case p.Centre.Z < 0:
		return cm + " cm below the trunk base"
	}
	return cm + " cm above the trunk base"
}
